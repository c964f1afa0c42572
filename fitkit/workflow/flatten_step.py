"""From patches to blanks with their stretch fields."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitkit.workflow.run_step import Made, run_step
from fitkit.workflow.step_report import Progress, StepReport, part_of

if TYPE_CHECKING:
    from fitkit.findings import Finding
    from fitkit.job.job_folder import Job
    from fitkit.job.made_from import FileDigests
    from fitkit.patch.design import PatchDesign

__all__ = ["flatten"]


def flatten(job: Job, *, digests: FileDigests, progress: Progress | None = None) -> StepReport:
    """Lay every patch flat, if stale. Hold the lock."""
    return run_step(
        job, "blanks", lambda told: _blanks(job, digests, told), digests=digests, progress=progress
    )


def _blanks(job: Job, digests: FileDigests, progress: Progress | None) -> Made:
    from fitkit.job.designs import patch_designs
    from fitkit.job.made_from import MadeFrom

    before = MadeFrom.read(job.result_folder("blanks"))
    files: dict[str, bytes] = {}
    findings: list[Finding] = []
    pieces: dict[str, str] = {}
    taken_over = 0
    designs = patch_designs(job.settings)
    for index, design in enumerate(designs):
        share = part_of(progress, index / len(designs), (index + 0.9) / len(designs))
        piece = _piece(job, design)
        kept = None
        if before is not None and before.pieces.get(design.name) == piece:
            kept = _kept_blank(job, design, digests)
        if kept is not None:
            taken_over += 1
        made, found = kept or _blank(job, design, share)
        files |= made
        findings += found
        pieces[design.name] = piece
    words = f"{len(designs) - taken_over} patches laid flat"
    if taken_over:
        words += f", {taken_over} taken over"
    return Made(files, tuple(findings), words, pieces)


def _piece(job: Job, design: PatchDesign) -> str:
    """Return the digest of all that one blank is made from."""
    from fitkit.job.made_from import MadeFrom, digest_of_value
    from fitkit.job.settings import file_stem
    from fitkit.job.steps import step_named

    record = MadeFrom.read(job.result_folder("patches"))
    stem = file_stem(design.name)
    cut = [record.files[f"{stem}{end}"][1] for end in (".json", ".ply")] if record else []
    made = [design.material, design.thickness_mm, design.seam, design.forming, *design.hold]
    return digest_of_value([step_named("blanks").format, cut, made])


def _kept_blank(
    job: Job, design: PatchDesign, digests: FileDigests
) -> tuple[dict[str, bytes], tuple[Finding, ...]] | None:
    from fitkit.job.flat_patch_files import read_flat_patch
    from fitkit.job.settings import file_stem

    stem = file_stem(design.name)
    names = [f"{stem}.json", f"{stem}.npz", f"{stem}-strain.png"]
    files = job.unchanged_files("blanks", names, digests)
    if files is None:
        return None
    return files, read_flat_patch(job.result_folder("blanks"), design).findings


def _blank(
    job: Job, design: PatchDesign, progress: Progress | None
) -> tuple[dict[str, bytes], tuple[Finding, ...]]:
    from fitkit.export.strain_picture import png_of_strain
    from fitkit.flatten.flatten_patch import flatten_patch
    from fitkit.job.flat_patch_files import flat_patch_files
    from fitkit.job.patch_files import read_patch
    from fitkit.job.settings import file_stem

    if progress is not None:
        progress(0.0, f"flattening '{design.name}'")
    flat = flatten_patch(read_patch(job.result_folder("patches"), design), progress=progress)
    picture = {f"{file_stem(design.name)}-strain.png": png_of_strain(flat)}
    return {**flat_patch_files(flat), **picture}, flat.findings
