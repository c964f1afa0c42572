"""A mesh that is given by hand: received, looked at, and made into the body once it is told how."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from fitkit.errors import JobError, MeshError
from fitkit.workflow.step_report import Progress, StepReport

if TYPE_CHECKING:
    from fitkit.body.mesh_unit import MeshUnit
    from fitkit.job.arriving_mesh import ArrivingMesh

__all__ = [
    "MOST_TRIANGLES",
    "MeshToTake",
    "arriving_mesh",
    "leave_mesh",
    "mesh_to_take",
    "receive_mesh",
    "take_mesh",
]

MOST_TRIANGLES = 4_000_000
"""The most triangles of a mesh that is given by hand."""


@dataclass(frozen=True, slots=True)
class MeshToTake:
    """A mesh that waits to be told how it is to be read.

    Attributes
    ----------
    triangles
        How many.
    readings
        Units that make it the size of a body, with the length of its longest side in mm then, the
        likeliest first; one alone where the kind of file fixes the unit.
    stands
        Whether the kind of file fixes which way is up.
    """

    triangles: int
    readings: Sequence[tuple[MeshUnit, float]]
    stands: bool


def arriving_mesh(folder: Path | str) -> ArrivingMesh:
    """Return what a mesh file on its way into the job is written to.

    What an interrupted upload left behind long ago goes.
    """
    from fitkit.job.arriving_file import clear_arriving
    from fitkit.job.arriving_mesh import ArrivingMesh
    from fitkit.job.job_folder import open_job

    job = open_job(folder)
    clear_arriving(job.folder)
    return ArrivingMesh(job.folder)


def receive_mesh(folder: Path | str, arrived: ArrivingMesh) -> MeshToTake:
    """Look at a mesh that has arrived whole, and let it wait to be told how it is to be read.

    Raises
    ------
    MeshError
        When it is no mesh, names other files, has too many triangles, or is no body's size in any
        unit.
    JobBusyError
        When work goes on in the job.
    """
    import numpy as np

    from fitkit.body.mesh_unit import units_of_size
    from fitkit.geometry.mesh_files import METRIC_SUFFIXES
    from fitkit.job.arriving_mesh import keep_waiting
    from fitkit.job.job_folder import held_job

    suffix, mesh = arrived.whole()
    metric = suffix in METRIC_SUFFIXES
    if len(mesh.faces) > MOST_TRIANGLES:
        raise MeshError(
            f"The mesh has {len(mesh.faces):,} triangles; {MOST_TRIANGLES:,} are the most.",
            "Save it with fewer: a body needs no more than a few hundred thousand.",
        )
    longest = float(np.ptp(mesh.vertices, axis=0).max())
    if not (units_of_size(longest) if not metric else _as_metric(longest)):
        raise MeshError(
            f"The mesh is {longest:.4g} at its longest: in no unit is that a body or part of one.",
            "Export it again in millimetres, a wearer of 1.7 m being 1700.",
        )
    with held_job(folder, "taking in a mesh") as job:
        keep_waiting(
            job.folder, arrived.path, suffix, longest=longest, triangles=len(mesh.faces),
            metric=metric,
        )  # fmt: skip
    waiting = mesh_to_take(folder)
    assert waiting is not None
    return waiting


def mesh_to_take(folder: Path | str) -> MeshToTake | None:
    """Return the mesh that waits to be told how it is to be read, None where none does.

    Raises
    ------
    JobError
        When the folder is not a job.
    """
    from fitkit.body.mesh_unit import units_of_size
    from fitkit.job.arriving_mesh import read_waiting
    from fitkit.job.job_folder import open_job

    waiting = read_waiting(open_job(folder).folder)
    if waiting is None:
        return None
    readings = _as_metric(waiting.longest) if waiting.metric else units_of_size(waiting.longest)
    return MeshToTake(waiting.triangles, readings, waiting.metric)


def take_mesh(
    folder: Path | str,
    unit: MeshUnit,
    *,
    up: str | None = None,
    front: str | None = None,
    progress: Progress | None = None,
) -> tuple[StepReport, ...]:
    """Make the body of the mesh that waits; where that fails it waits on and the job is as before.

    Parameters
    ----------
    unit
        What one of its numbers is.
    up, front
        As for :func:`fitkit.workflow.body_job.body_job`.

    Raises
    ------
    JobError
        When none waits.
    InputError
        When it cannot be made into a body.
    """
    from fitkit.job.arriving_mesh import drop_waiting, read_waiting
    from fitkit.job.job_folder import open_job
    from fitkit.workflow.body_job import body_job

    job = open_job(folder)
    waiting = read_waiting(job.folder)
    if waiting is None:
        raise JobError("No mesh waits to be taken.", "Drop it on the page again.")
    reports = body_job(
        folder,
        waiting.path(job.folder),
        unit=None if waiting.metric else unit,
        up=up,
        front=front,
        progress=progress,
    )
    drop_waiting(job.folder)
    return reports


def leave_mesh(folder: Path | str) -> None:
    """Take the mesh that waits away."""
    from fitkit.job.arriving_mesh import drop_waiting
    from fitkit.job.job_folder import held_job

    with held_job(folder, "leaving a mesh") as job:
        drop_waiting(job.folder)


def _as_metric(longest_mm: float) -> tuple[tuple[MeshUnit, float], ...]:
    from fitkit.body.mesh_unit import units_of_size

    return tuple(row for row in units_of_size(longest_mm) if row[0] == "mm")
