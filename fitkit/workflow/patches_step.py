"""From the body and the maker's tape lines to patches of the form."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitkit.errors import JobError
from fitkit.workflow.run_step import Made, run_step
from fitkit.workflow.step_report import Progress, StepReport, part_of

if TYPE_CHECKING:
    from fitkit.body.body import Body
    from fitkit.job.job_folder import Job
    from fitkit.job.made_from import FileDigests
    from fitkit.patch.form import Form
    from fitkit.patch.patch import Patch
    from fitkit.patch.tape_line import TapeLine

__all__ = ["patches"]


def patches(job: Job, *, digests: FileDigests, progress: Progress | None = None) -> StepReport:
    """Grow the forms, lay the tape lines and cut the patches, if stale. Hold the lock."""
    if not job.settings.patch:
        raise JobError(
            f"No patches are drawn in '{job.folder.name}' yet.",
            "Add [[line]] and [[patch]] sections to job.toml.",
        )
    return run_step(
        job, "patches", lambda told: _patches(job, told), digests=digests, progress=progress
    )


def _patches(job: Job, progress: Progress | None) -> Made:
    from fitkit.job.body_files import read_body
    from fitkit.job.designs import patch_designs
    from fitkit.job.patch_files import patch_files

    shaped = read_body(job.result_folder("body"))
    designs = patch_designs(job.settings)
    files: dict[str, bytes] = {}
    cut: dict[str, Patch] = {}
    clearances = list(dict.fromkeys(design.clearance_mm or 0.0 for design in designs))
    for index, clearance_mm in enumerate(clearances):
        start, end = 0.95 * index / len(clearances), 0.95 * (index + 1) / len(clearances)
        form, lines, found = _patches_on_form(
            job, shaped, clearance_mm, part_of(progress, start, end)
        )
        cut |= {patch.design.name: patch for patch in found}
        files |= _form_files(form, lines)
        files |= _pictures(form, lines, found, first=index == 0)
    for design in designs:
        files |= patch_files(cut[design.name])
    findings = tuple(finding for design in designs for finding in cut[design.name].findings)
    words = f"{len(designs)} patches on {len(clearances)} form{'s' * (len(clearances) > 1)}"
    return Made(files, findings, words)


def _patches_on_form(
    job: Job, shaped: Body, clearance_mm: float, progress: Progress | None
) -> tuple[Form, tuple[TapeLine, ...], tuple[Patch, ...]]:
    from fitkit.job.designs import line_designs, patch_designs
    from fitkit.patch.cut_patches import cut_patches
    from fitkit.patch.form import grow_form
    from fitkit.patch.line_network import lay_tape_lines

    def told(fraction: float, words: str) -> None:
        if progress is not None:
            progress(fraction, words)

    told(0.0, f"growing the form by {clearance_mm:g} mm")
    form = grow_form(shaped, clearance_mm=clearance_mm)
    lines = lay_tape_lines(form, line_designs(job.settings), progress=part_of(progress, 0.3, 0.6))
    designs = [
        design
        for design in patch_designs(job.settings)
        if (design.clearance_mm or 0.0) == clearance_mm
    ]
    found = cut_patches(form, lines, designs, progress=part_of(progress, 0.6, 1.0))
    return form, lines, found


def _form_files(form: Form, lines: tuple[TapeLine, ...]) -> dict[str, bytes]:
    from fitkit.geometry.mesh_files import ply_bytes
    from fitkit.job.patch_files import tape_line_files

    stem = f"form-{form.clearance_mm:g}mm"
    drawn = [(line.name, line.path.points_mm, line.path.closed) for line in lines]
    return {
        f"{stem}.ply": ply_bytes(form.mesh),
        f"{stem}-lines.json": tape_line_files(drawn, form.clearance_mm),
    }


def _pictures(
    form: Form, lines: tuple[TapeLine, ...], found: tuple[Patch, ...], *, first: bool
) -> dict[str, bytes]:
    """Return the pictures of one form; the first form's are the ones that overviews show."""
    from fitkit.workflow.patches_picture import faces_in_patches, png_of_patches

    inside = faces_in_patches(form, found)
    if not first:
        name = f"patches-{form.clearance_mm:g}mm.png"
        return {name: png_of_patches(form, lines, found, patch_of_face=inside, height_px=560)}
    return {
        "patches.png": png_of_patches(form, lines, found, patch_of_face=inside),
        "front.png": png_of_patches(
            form, lines, found, patch_of_face=inside, views=("front",), height_px=560
        ),
    }
