"""``fitkit room``: opens the fitting room in the browser."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from fitkit.cli.answer import answering

__all__ = ["room_command"]


def room_command(
    job: Annotated[
        Path | None,
        typer.Argument(metavar="[JOB]", help="The job to open; without it, one is chosen there."),
    ] = None,
    host: Annotated[
        str,
        typer.Option(
            metavar="ADDRESS",
            help="Address to listen on, for a tablet; this machine alone if not given.",
        ),
    ] = "127.0.0.1",
    port: Annotated[
        int,
        typer.Option(
            min=0,
            max=65535,
            show_default=False,
            metavar="NUMBER",
            help="Port to listen on; a free one if not given.",
        ),
    ] = 0,
    browser: Annotated[bool, typer.Option(help="Open it in the browser.")] = True,
) -> None:
    """Open the fitting room, the job by eye, in the browser."""
    with answering("room", as_json=False):
        if job is not None:
            from fitkit.workflow.check_job import check_job

            check_job(job)
            job = job.expanduser().resolve()
        from fitkit.room.server import HERE, open_room

        def opened(address: str) -> None:
            print(f"The fitting room: {address}")
            if host not in {HERE, "localhost", "::1"}:
                print("Others on this network can read along: use it on a network you trust.")
            print("To close it: Ctrl-C.", flush=True)
            if browser:
                import webbrowser

                webbrowser.open(address)

        shelf = job.parent if job is not None else Path.cwd()
        open_room(shelf, job, host=host, port=port, opened=opened)
