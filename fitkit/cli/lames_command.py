"""The lames command: a patch divided into overlapping strips."""

from __future__ import annotations

from typing import Annotated

import typer

from fitkit.cli.answer import answering, finish
from fitkit.cli.arguments import AsJson, JobFolder
from fitkit.cli.progress_lines import shown_progress

__all__ = ["lames_command"]


def lames_command(
    job: JobFolder,
    patch: Annotated[str, typer.Argument(metavar="PATCH", help="The patch to divide.")],
    first: Annotated[
        str, typer.Option("--from", metavar="LINE", help="Its line on the trunk's side.")
    ],
    last: Annotated[str, typer.Option("--to", metavar="LINE", help="Its line beyond.")],
    joint: Annotated[
        str, typer.Option(metavar="JOINT", help="The joint they give way to, as 'left elbow'.")
    ],
    count: Annotated[
        int | None,
        typer.Option(min=1, max=40, metavar="COUNT", help="How many; else as few as keep covered."),
    ] = None,
    overlap: Annotated[
        str, typer.Option(metavar="LENGTH", help="How far each lies over the next.")
    ] = "15 mm",
    as_json: AsJson = False,
) -> None:
    """Divide a patch into a row of overlapping strips."""
    with answering("lames", as_json=as_json):
        from fitkit.units import parse_length_mm
        from fitkit.workflow.lames_job import lay_lames

        with shown_progress() as progress:
            laid = lay_lames(
                job,
                patch,
                first=first,
                last=last,
                joint=joint,
                count=count,
                overlap_mm=parse_length_mm(overlap),
                progress=progress,
            )

        def show() -> None:
            print(f"{laid.words}.")
            print(f"Look at them: fitkit patch show {job}. Check them: fitkit motion {job}")

        finish("lames", laid.as_dict(), (), as_json=as_json, show=show)
