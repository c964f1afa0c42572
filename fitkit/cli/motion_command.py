"""The motion command: plates through the joints' ranges."""

from __future__ import annotations

from typing import Annotated

import typer

from fitkit.cli.answer import answering, finish, print_findings, print_reports
from fitkit.cli.arguments import AsJson, JobFolder
from fitkit.cli.progress_lines import shown_progress

__all__ = ["motion_command"]


def motion_command(
    job: JobFolder,
    trim: Annotated[
        str | None,
        typer.Option(metavar="PATCH", help="Take the trim that was offered for a patch."),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Move the joints; say which plates stop them, and where.

    Trims that would free them are offered.
    """
    with answering("motion", as_json=as_json):
        if trim is not None:
            from fitkit.workflow.trim_job import take_trim

            with shown_progress() as progress:
                report = take_trim(job, trim, progress=progress)
            told = f"{report.words}. Now run: fitkit motion {job}"
            finish("motion", report.as_dict(), (), as_json=as_json, show=lambda: print(told))
            return
        from fitkit.workflow.motion_job import motion_job, ranges_of, trims_of
        from fitkit.workflow.run_step import same_findings_once

        with shown_progress() as progress:
            reports = motion_job(job, progress=progress)
        findings = same_findings_once(
            finding for report in reports if report.step == "motion" for finding in report.findings
        )
        ranges, trims = ranges_of(job), trims_of(job)

        def show() -> None:
            print_reports(reports)
            print(f"{'movement':32s} {'rest':>6s} {'wanted':>7s} {'free':>6s} {'trimmed':>8s}")
            for row in ranges:
                cells = (row.rest_deg, row.wanted_deg, row.free_deg, row.trimmed_deg)
                widths = (6, 7, 6, 8)
                told = " ".join(f"{c:{w - 1}.0f}°" for c, w in zip(cells, widths, strict=True))
                print(f"{row.name:32s} {told}")
            print_findings(findings)
            for patch in trims:
                print(f"To take a trim: fitkit motion {job} --trim '{patch}'")
            print(f"Pictures and table: {job / 'motion'}")
            print(_CAUTION)

        values = {"steps": [report.as_dict() for report in reports]}
        finish("motion", values, findings, as_json=as_json, show=show)


_CAUTION = (
    "A costume is not protective equipment. Try every movement slowly, with a second person by, "
    "before wearing it out: pinched skin, falls and heat are not seen here."
)
