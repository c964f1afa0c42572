"""Running one step on a job: only when stale, whole or not at all."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from pathlib import Path

from fitkit.errors import JobError
from fitkit.findings import Finding
from fitkit.job.folder_called import with_folder_called
from fitkit.job.job_folder import Job
from fitkit.job.made_from import RECORD, FileDigests, MadeFrom
from fitkit.job.steps import step_named
from fitkit.workflow.step_report import Progress, StepReport

__all__ = ["Made", "run_step", "same_findings_once"]


@dataclass(frozen=True, slots=True)
class Made:
    """What a step's work hands over.

    Attributes
    ----------
    files
        Content by file name in the result folder.
    findings, words
        What was noticed, and one line on what came out.
    pieces
        See :class:`fitkit.job.made_from.MadeFrom`.
    """

    files: dict[str, bytes]
    findings: tuple[Finding, ...] = ()
    words: str = ""
    pieces: dict[str, str] = field(default_factory=dict)


def run_step(
    job: Job,
    step: str,
    work: Callable[[Progress | None], Made],
    *,
    digests: FileDigests,
    progress: Progress | None = None,
    again: bool = False,
) -> StepReport:
    """Run a step's work if its last result no longer holds, and keep what it made.

    With ``again`` it is run in any case. Hold the job's lock. When the work raises, nothing in
    the job has changed.

    Raises
    ------
    JobError
        When a result that the step needs has not been made.
    """
    state = job.state(step, digests)
    folder = job.result_folder(step)
    if state.state == "fresh" and state.record is not None and not again:
        if progress is not None:
            progress(1.0, f"{step}: still holds")
        return StepReport(
            step,
            ran=False,
            words="still holds",
            findings=state.record.findings,
            seconds=state.record.seconds,
            files=_paths(folder, state.record),
        )
    needed = () if step == "body" and not job.from_photos else step_named(step).after
    for earlier in needed:
        if MadeFrom.read(job.result_folder(earlier)) is None:
            raise JobError(
                f"The {step} cannot be made before the {earlier}.",
                f"Run: fitkit make {job.called}",
            )
    inputs = job.inputs(step, digests)
    started = time.perf_counter()
    made = work(progress)
    seconds = time.perf_counter() - started
    findings = same_findings_once(made.findings)
    record = job.keep_result(
        step,
        made.files,
        inputs=inputs,
        digests=digests,
        findings=findings,
        seconds=seconds,
        pieces=made.pieces,
    )
    job.keep_digests(digests)
    return StepReport(
        step,
        ran=True,
        words=made.words or ", ".join(state.reasons[:3]),
        findings=with_folder_called(findings, job.folder),
        seconds=seconds,
        files=_paths(folder, record),
    )


def same_findings_once(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Return the findings in order without repetitions."""
    kept: list[Finding] = []
    for finding in findings:
        if finding not in kept:
            kept.append(finding)
    return tuple(kept)


def _paths(folder: Path, record: MadeFrom) -> tuple[Path, ...]:
    return tuple(folder / name for name in record.files if name != RECORD)
