"""A design laid on another body: that of another wearer, or this one's after a new scan."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fitkit.findings import Finding
from fitkit.workflow.step_report import Progress, StepReport

__all__ = ["JobCarried", "carry_job"]


@dataclass(frozen=True, slots=True)
class JobCarried:
    """The steps that ran, the bodies' scale, and each line's length there and here.

    Attributes
    ----------
    reports
        Of the steps.
    scale
        How much larger this body is than the one the design was drawn on.
    shared
        Landmarks it was carried by.
    lines
        Name, length on the other body, length on this one, mm.
    findings
        Lines that strayed.
    """

    reports: tuple[StepReport, ...]
    scale: float
    shared: tuple[str, ...]
    lines: tuple[tuple[str, float, float], ...]
    findings: tuple[Finding, ...]

    def as_dict(self) -> dict[str, Any]:
        """Return it as plain values for JSON."""
        return {
            "steps": [report.as_dict() for report in self.reports],
            "scale": self.scale,
            "landmarks": list(self.shared),
            "lines": [
                {"name": name, "there_mm": there, "here_mm": here}
                for name, there, here in self.lines
            ],
        }


def carry_job(
    folder: Path | str, *, source: Path | str | None = None, progress: Progress | None = None
) -> JobCarried:
    """Lay a design on the body of a job by landmarks, and cut its patches.

    Parameters
    ----------
    folder
        The job whose body the design is to lie on.
    source
        The job whose design it is; None takes the job's own, as it was drawn before its body was
        scanned anew or reshaped.

    Raises
    ------
    JobError
        When the job has a design of its own already, or the other's patches were never cut.
    DesignError
        When the bodies share too few landmarks, or a line cannot be laid on the new one.
    """
    from fitkit.job.body_files import read_body
    from fitkit.job.carried_rows import carried_rows, with_rows_of
    from fitkit.job.drawn_on_files import read_drawn_on
    from fitkit.job.job_folder import held_job, open_job
    from fitkit.patch.drawn_on import strayed_findings
    from fitkit.patch.form import Form
    from fitkit.patch.landmark_map import LandmarkMap
    from fitkit.workflow.make_job import make_job

    origin = open_job(source if source is not None else folder)
    before, _ = read_drawn_on(origin.result_folder("patches"))
    make_job(folder, until="body", progress=progress)
    with held_job(folder, "carry") as job:
        body = read_body(job.result_folder("body"))
        carried = LandmarkMap(before.landmarks, body.landmarks)
        rows = carried_rows(job.text if source is None else origin.text, carried)
        text = rows if source is None else with_rows_of(job.text, rows)
        job.with_text(text).keep_text("carried the design to this body")
    reports = make_job(folder, until="patches", progress=progress)
    now, _ = read_drawn_on(job.result_folder("patches"))
    lines = tuple(
        (name, length, now.lengths_mm[name])
        for name, length in before.lengths_mm.items()
        if name in now.lengths_mm
    )
    found = strayed_findings(before, now, Form(body.mesh, 0.0, body))
    return JobCarried(reports, carried.scale, carried.shared, lines, found)
