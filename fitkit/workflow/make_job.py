"""Everything that is stale, in order."""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from fitkit.findings import Finding, Severity
from fitkit.workflow.step_report import Progress, StepReport, part_of

if TYPE_CHECKING:
    from fitkit.job.job_folder import Job
    from fitkit.job.made_from import FileDigests

__all__ = ["make_job"]

# Share of the whole time, measured on the sample job; only the progress bar uses it.
_SHARES = {
    "scan": 0.70,
    "body": 0.04,
    "patches": 0.20,
    "blanks": 0.03,
    "templates": 0.01,
    "pages": 0.02,
    "sheets": 0.05,
    "book": 0.07,
    "motion": 0.40,
}


def make_job(
    folder: Path | str,
    *,
    until: str | None = None,
    also: Collection[str] = (),
    progress: Progress | None = None,
    begins: Callable[[str], None] | None = None,
) -> tuple[StepReport, ...]:
    """Make everything in a job that is stale: all of it, or ``until`` and what that needs.

    Steps that are made only when asked for are named in ``also``.
    A step whose inputs are what they were is left alone and reported so. When a step fails,
    those before it stay made and the rest of the job is as it was. ``begins`` is called with the
    name of each step when its turn comes.

    Raises
    ------
    FitkitError
        When a step cannot be done; its cause names the line, patch or photo.
    """
    from fitkit.job.job_folder import held_job
    from fitkit.job.made_from import FileDigests
    from fitkit.job.steps import STEPS, steps_before

    with held_job(folder, "make") as job:
        digests = FileDigests(job.folder)
        wanted = _all_steps() if until is None else {*steps_before(until), until}
        wanted |= set(also)
        if "book" in wanted:
            # Without the layout it would be half a book.
            wanted.add("sheets")
        # Asked for by name, parts are laid out without stock too, on sizes as they are sold.
        applies = {*job.steps(), *({until} & {"sheets"})}
        names = tuple(step.name for step in STEPS if step.name in wanted & applies)
        without_patches = not job.settings.patch and until in (None, "pages")
        if without_patches:
            names = tuple(name for name in names if name in {"scan", "body"})
        reports: list[StepReport] = []
        whole = sum(_SHARES[name] for name in names)
        done = 0.0
        for name in names:
            if begins is not None:
                begins(name)
            share = part_of(progress, done / whole, (done + _SHARES[name]) / whole)
            reports.append(_step(name, job, digests, share))
            done += _SHARES[name]
        if without_patches:
            reports[-1] = _with_note(reports[-1], job.called)
    return tuple(reports)


def _all_steps() -> set[str]:
    """Return the names of all steps but those made only when asked for."""
    from fitkit.job.steps import STEPS

    return {step.name for step in STEPS if not step.on_request}


def _step(name: str, job: Job, digests: FileDigests, progress: Progress | None) -> StepReport:
    match name:
        case "scan":
            from fitkit.workflow.scan_job import scan_step

            return scan_step(job, digests=digests, progress=progress)
        case "body":
            from fitkit.workflow.body_step import body

            return body(job, digests=digests, progress=progress)
        case "patches":
            from fitkit.workflow.patches_step import patches

            return patches(job, digests=digests, progress=progress)
        case "blanks":
            from fitkit.workflow.flatten_step import flatten

            return flatten(job, digests=digests, progress=progress)
        case "templates":
            from fitkit.workflow.templates_step import templates

            return templates(job, digests=digests, progress=progress)
        case "pages":
            from fitkit.workflow.print_job import print_job

            return print_job(job, digests=digests, progress=progress)
        case "sheets":
            from fitkit.workflow.nest_job import nest_step

            return nest_step(job, digests=digests, progress=progress)
        case "book":
            from fitkit.workflow.book_job import book

            return book(job, digests=digests, progress=progress)
        case "motion":
            from fitkit.workflow.motion_job import motion_step

            return motion_step(job, digests=digests, progress=progress)
    raise ValueError(name)


def _with_note(report: StepReport, name: str) -> StepReport:
    note = Finding(
        "no-patches",
        Severity.NOTE,
        "job.toml",
        "No patches are drawn yet, so the work ends with the body.",
        f"Add [[line]] and [[patch]] sections to job.toml, then run: fitkit make {name}",
    )
    return replace(report, findings=(*report.findings, note))
