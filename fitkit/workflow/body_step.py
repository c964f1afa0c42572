"""From the scan, or a mesh, to the body."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitkit.errors import JobError
from fitkit.workflow.run_step import Made, run_step
from fitkit.workflow.step_report import Progress, StepReport

if TYPE_CHECKING:
    from fitkit.job.job_folder import Job
    from fitkit.job.made_from import FileDigests

__all__ = ["body"]


def body(job: Job, *, digests: FileDigests, progress: Progress | None = None) -> StepReport:
    """Make the body, if it is stale. Hold the lock."""
    return run_step(job, "body", lambda told: _body(job, told), digests=digests, progress=progress)


def _body(job: Job, progress: Progress | None) -> Made:
    from fitkit.export.body_picture import png_of_body
    from fitkit.job.body_files import body_files

    mesh_path = job.mesh_path()
    if mesh_path is not None:
        from fitkit.body.body_of_mesh import body_of_mesh
        from fitkit.geometry.mesh_files import read_mesh

        if not mesh_path.is_file():
            raise JobError(
                f"The mesh '{mesh_path.name}' that [body] from_mesh names is not in the job "
                "folder.",
                "Copy the file there, or take from_mesh out of job.toml to use photos.",
            )
        shaped = body_of_mesh(read_mesh(mesh_path))
    else:
        from fitkit.body.body_of_scan import body_of_scan
        from fitkit.job.scan_files import read_scan

        shaped = body_of_scan(read_scan(job.result_folder("scan")), progress=progress)
    if progress is not None:
        progress(0.9, "drawing the body")
    low, high = shaped.mesh.bounds_mm()
    words = (
        f"{high[2] - low[2]:.0f} mm tall, {len(shaped.mesh.faces)} triangles, "
        f"with {', '.join(shaped.axes) or 'no limbs found'}"
    )
    picture = png_of_body(shaped.mesh)
    return Made({**body_files(shaped), "body.png": picture}, shaped.findings, words)
