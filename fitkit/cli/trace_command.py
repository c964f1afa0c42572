"""The trace command: corrected card pieces back into the job by photo."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from fitkit.cli.answer import answering, finish, print_findings
from fitkit.cli.progress_lines import shown_progress

__all__ = ["trace_command"]


def trace_command(
    job: Annotated[Path, typer.Argument(metavar="JOB", help="The job folder.")],
    photos: Annotated[
        list[Path],
        typer.Argument(
            metavar="PHOTO...",
            help="Photos from above of the pieces lying flat beside a marker sheet, outside up.",
        ),
    ],
    part: Annotated[
        str | None,
        typer.Option(
            metavar="PART", help="Which part it is, by title or number; else told from its outline."
        ),
    ] = None,
    thickness: Annotated[
        str | None,
        typer.Option(metavar="LENGTH", help="Thickness of the card, such as 0.5 or '0.5 mm'."),
    ] = None,
    even: Annotated[
        bool,
        typer.Option("--even", help="Take edges that are all but straight or round as truly so."),
    ] = False,
    keep: Annotated[
        bool, typer.Option("--keep", help="Take the correction into the job without asking.")
    ] = False,
    as_json: Annotated[
        bool, typer.Option("--json", help="Answer in JSON, for another program.")
    ] = False,
) -> None:
    """Read corrected card pieces off photos, into the job."""
    with answering("trace", as_json=as_json):
        import sys

        from fitkit.units import parse_length_mm
        from fitkit.workflow.trace_job import keep_corrections, trace_job

        with shown_progress() as progress:
            traced = trace_job(
                job,
                photos,
                part=part,
                thickness_mm=None if thickness is None else parse_length_mm(thickness),
                even=even,
                progress=progress,
            )
        report = traced.report
        values: dict[str, Any] = report.as_dict()

        def show() -> None:
            print(f"{report.words}.")
            print_findings(report.findings)
            for path in report.files:
                print(f"written: {path}")
            for piece in report.facts["pieces"]:
                if piece["even_runs"] and not even:
                    print(
                        f"{piece['part']}: all but even are {', '.join(piece['even_runs'])}; "
                        "--even makes them so."
                    )
            if not traced.corrections:
                print("Nothing to correct.")

        if not as_json:
            show()
        kept = bool(traced.corrections) and (
            keep
            or (
                not as_json
                and sys.stdin.isatty()
                and typer.confirm("Take the correction into the job?", default=False)
            )
        )
        if kept:
            keep_corrections(job, traced.corrections)
        values["kept"] = kept

        def tell() -> None:
            if kept:
                print(f"Taken into job.toml; run: fitkit make {job}")
            elif traced.corrections:
                print("Not taken into the job; add --keep to do so.")

        finish("trace", values, report.findings, as_json=as_json, show=tell)
