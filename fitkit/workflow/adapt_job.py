"""The stand-in's body reshaped to the wearer's tape list."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fitkit.workflow.step_report import Progress, StepReport

if TYPE_CHECKING:
    from fitkit.body.adapted_body import AdaptedMeasure

__all__ = ["JobAdapted", "adapt_job", "kept_adapted"]


@dataclass(frozen=True, slots=True)
class JobAdapted:
    """The steps that ran, and each measure as wanted, before and after."""

    reports: tuple[StepReport, ...]
    rows: tuple[AdaptedMeasure, ...]

    def as_dict(self) -> dict[str, Any]:
        """Return both as plain values for JSON."""
        return {
            "steps": [report.as_dict() for report in self.reports],
            "measures": [{**asdict(row), "off_mm": row.off_mm} for row in self.rows],
        }


def adapt_job(
    folder: Path | str, *, wanted: bool = True, progress: Progress | None = None
) -> JobAdapted:
    """Say in ``job.toml`` that the body is reshaped to the tape list, and make the body.

    From then on every step works on the reshaped body; the body as it was is kept beside it.
    ``wanted=False`` takes that back.

    Raises
    ------
    JobError
        When the tape list is empty, or the body cannot be made.
    """
    from fitkit.job.job_folder import held_job
    from fitkit.job.settings_edits import with_setting
    from fitkit.workflow.body_step import check_tape_list
    from fitkit.workflow.make_job import make_job

    with held_job(folder, "adapt") as job:
        if wanted:
            check_tape_list(job)
        if job.settings.body.adapt != wanted:
            words = "reshaped the body to the tape list" if wanted else "left the body as found"
            job.with_text(with_setting(job.text, "body", "adapt", wanted)).keep_text(words)
    reports = make_job(folder, until="body", progress=progress)
    if not wanted:
        return JobAdapted(reports, ())
    from fitkit.job.adapted_files import read_adapted

    return JobAdapted(reports, read_adapted(job.result_folder("body")))


def kept_adapted(folder: Path | str) -> tuple[AdaptedMeasure, ...]:
    """Return each measure as wanted, before and after; nothing where the body is as found.

    Raises
    ------
    JobError
        When the folder is not a job, or the table is damaged.
    """
    from fitkit.job.adapted_files import read_adapted
    from fitkit.job.job_folder import open_job

    job = open_job(folder)
    body = job.result_folder("body")
    return read_adapted(body) if (body / "adapted.csv").is_file() else ()
