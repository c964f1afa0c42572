"""From the scan, a mesh or the tape list to the body; reshaped to that list where wanted."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitkit.errors import JobError
from fitkit.workflow.found_body import found_body
from fitkit.workflow.run_step import Made, run_step
from fitkit.workflow.step_report import Progress, StepReport, part_of

if TYPE_CHECKING:
    from fitkit.body.body import Body
    from fitkit.findings import Finding
    from fitkit.job.job_folder import Job
    from fitkit.job.made_from import FileDigests

__all__ = ["body", "check_tape_list"]

_FOUND = "as found"


def body(job: Job, *, digests: FileDigests, progress: Progress | None = None) -> StepReport:
    """Make the body, if it is stale. Hold the lock."""
    return run_step(
        job, "body", lambda told: _body(job, digests, told), digests=digests, progress=progress
    )


def check_tape_list(job: Job) -> None:
    """Make sure that there is a tape list to reshape a body to.

    Raises
    ------
    JobError
        When it is empty.
    """
    if not job.settings.wearer.tape:
        raise JobError(
            f"The tape list of '{job.folder.name}' is empty, so there is nothing to reshape the "
            "body to.",
            'Write the wearer\'s measures under [wearer.tape] in job.toml, as chest = "98 cm".',
        )


def _body(job: Job, digests: FileDigests, progress: Progress | None) -> Made:
    from fitkit.export.body_picture import png_of_body
    from fitkit.job.body_files import FOUND_MARKS_FILE, body_files, landmarks_file

    if job.settings.body.from_tape is not None:
        check_tape_list(job)
    piece = _made_from_now(job, digests)
    as_found = _kept(job, digests, piece) or found_body(job, part_of(progress, 0.0, 0.6))
    found = _corrected(job, as_found)
    findings = _held_to_tape(job, found)
    shaped = found
    files: dict[str, bytes] = {}
    if job.settings.body.adapt:
        shaped, files = _reshaped(job, found, part_of(progress, 0.6, 0.9))
    if progress is not None:
        progress(0.9, "drawing the body")
    low, high = shaped.mesh.bounds_mm()
    words = (
        f"{high[2] - low[2]:.0f} mm tall, {len(shaped.mesh.faces)} triangles, "
        f"with {', '.join(shaped.axes) or 'no limbs found'}"
    )
    if files:
        words += "; reshaped to the tape list"
    files |= {**body_files(shaped), "body.png": png_of_body(shaped.mesh)}
    if found is not as_found:
        files[FOUND_MARKS_FILE] = landmarks_file(as_found.landmarks)
    return Made(files, (*shaped.findings, *findings), words, {_FOUND: piece})


def _corrected(job: Job, found: Body) -> Body:
    """Return the body with its landmarks where ``job.toml`` puts them."""
    import numpy as np

    from fitkit.body.corrected_landmarks import with_corrections

    corrections = job.settings.body.landmarks
    return with_corrections(found, {name: np.array(at) for name, at in corrections.items()})


def _held_to_tape(job: Job, found: Body) -> tuple[Finding, ...]:
    """Return what the measures taken on the body by tape say of it, where any are to be held."""
    from fitkit.capture.check_length import BodyCheck, parse_check

    checks = [
        check
        for check in map(parse_check, job.settings.capture.checks)
        if isinstance(check, BodyCheck)
    ]
    if not checks:
        return ()
    from fitkit.body.body_check import body_check_findings
    from fitkit.body.tape_measure import tape_measures
    from fitkit.job.designs import named_girths

    names = {check.measure for check in checks}
    own = [girth for girth in named_girths(job.settings) if girth.name.lower() in names]
    return body_check_findings(tape_measures(found, own), checks, job.settings.wearer.tape)


def _made_from_now(job: Job, digests: FileDigests) -> str:
    """Return the digest of all that the body is found from, before anything is done to it."""
    from fitkit.job.made_from import digest_of_value
    from fitkit.job.steps import CORRECTING, HELD_TO, RESHAPING

    inputs = job.inputs("body", digests)
    later = {CORRECTING, *RESHAPING, HELD_TO}
    return digest_of_value({name: row for name, row in inputs.items() if name not in later})


def _kept(job: Job, digests: FileDigests, piece: str) -> Body | None:
    """Return the body as found from the last result, if it was made from the same."""
    from fitkit.body.corrected_landmarks import without_corrections
    from fitkit.job.body_files import (
        FOUND_MARKS_FILE,
        FOUND_STEM,
        body_file_names,
        read_body,
        read_landmarks,
    )
    from fitkit.job.made_from import MadeFrom

    folder = job.result_folder("body")
    before = MadeFrom.read(folder)
    if before is None or before.pieces.get(_FOUND) != piece:
        return None
    stem = FOUND_STEM if f"{FOUND_STEM}.ply" in before.files else "body"
    marks = [FOUND_MARKS_FILE] if FOUND_MARKS_FILE in before.files else []
    if job.unchanged_files("body", [*body_file_names(stem), *marks], digests) is None:
        return None
    body = read_body(folder, stem=stem)
    return without_corrections(body, read_landmarks(folder)) if marks else body


def _reshaped(job: Job, found: Body, progress: Progress | None) -> tuple[Body, dict[str, bytes]]:
    """Return the body reshaped to the tape list, and the files that show what that did."""
    from fitkit.body.adapt import adapt
    from fitkit.body.tape_measure import tape_measures
    from fitkit.export.change_picture import png_of_change
    from fitkit.job.adapted_files import adapted_files
    from fitkit.job.body_files import FOUND_STEM, body_files
    from fitkit.job.designs import named_girths

    check_tape_list(job)
    own = [girth for girth in named_girths(job.settings) if girth.name in job.settings.wearer.tape]
    adapted = adapt(
        found,
        job.settings.wearer.tape,
        read_tape=lambda shaped: tape_measures(shaped, own),
        progress=progress,
    )
    picture = png_of_change(found.mesh, adapted.body.mesh, adapted.distance_mm())
    files = body_files(found, stem=FOUND_STEM) | adapted_files(adapted.measures)
    return adapted.body, {**files, "adapted.png": picture}
