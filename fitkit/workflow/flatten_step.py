"""From patches to blanks with their stretch fields."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitkit.workflow.run_step import Made, run_step
from fitkit.workflow.step_report import Progress, StepReport, part_of

if TYPE_CHECKING:
    from fitkit.findings import Finding
    from fitkit.job.job_folder import Job
    from fitkit.job.made_from import FileDigests

__all__ = ["flatten"]


def flatten(job: Job, *, digests: FileDigests, progress: Progress | None = None) -> StepReport:
    """Lay every patch flat, if stale. Hold the lock."""
    return run_step(
        job, "blanks", lambda told: _blanks(job, told), digests=digests, progress=progress
    )


def _blanks(job: Job, progress: Progress | None) -> Made:
    from fitkit.export.strain_picture import png_of_strain
    from fitkit.flatten.flatten_patch import flatten_patch
    from fitkit.job.designs import patch_designs
    from fitkit.job.flat_patch_files import flat_patch_files
    from fitkit.job.patch_files import read_patch
    from fitkit.job.settings import file_stem

    files: dict[str, bytes] = {}
    findings: list[Finding] = []
    designs = patch_designs(job.settings)
    for index, design in enumerate(designs):
        share = part_of(progress, index / len(designs), (index + 0.9) / len(designs))
        if share is not None:
            share(0.0, f"flattening '{design.name}'")
        flat = flatten_patch(read_patch(job.result_folder("patches"), design), progress=share)
        findings += flat.findings
        files |= flat_patch_files(flat)
        files[f"{file_stem(design.name)}-strain.png"] = png_of_strain(flat)
    return Made(files, tuple(findings), f"{len(designs)} patches laid flat")
