"""The body of the scan, the mesh or the tape list as it is, before any reshaping."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from fitkit.errors import JobError
from fitkit.workflow.step_report import Progress, part_of

if TYPE_CHECKING:
    from fitkit.body.body import Body
    from fitkit.body.mesh_unit import MeshUnit
    from fitkit.body.stand_up import Standing
    from fitkit.findings import Finding
    from fitkit.geometry.mesh import TriangleMesh
    from fitkit.job.job_folder import Job
    from fitkit.job.settings import BodySection

__all__ = ["found_body", "mesh_of_file"]

_WAYS = {
    "x": (1.0, 0.0, 0.0),
    "-x": (-1.0, 0.0, 0.0),
    "y": (0.0, 1.0, 0.0),
    "-y": (0.0, -1.0, 0.0),
    "z": (0.0, 0.0, 1.0),
    "-z": (0.0, 0.0, -1.0),
}
# Where the front usually is in a file that names only its up.
_USUAL_FRONT = {"y": "z", "-y": "z"}


def found_body(job: Job, progress: Progress | None = None) -> Body:
    """Return the body of the job's scan, mesh or tape list, landmarks where geometry finds them.

    Raises
    ------
    JobError
        When the mesh that ``[body] from_mesh`` names is not there.
    InputError
        When it cannot be made into a body.
    """
    mesh_path, section = job.mesh_path(), job.settings.body
    if mesh_path is not None:
        if not mesh_path.is_file():
            raise JobError(
                f"The mesh '{mesh_path.name}' that [body] from_mesh names is not in the job "
                "folder.",
                "Copy the file there, or take from_mesh out of job.toml to use photos.",
            )
        return _body_of_file(mesh_path, section, progress)
    if section.from_tape is not None:
        from fitkit.body.tape_stand_in import tape_stand_in

        return tape_stand_in(
            job.settings.wearer.tape,
            group=section.from_tape,
            part=section.tape_part,
            progress=progress,
        )
    from fitkit.body.body_of_scan import body_of_scan
    from fitkit.job.scan_files import read_scan

    return body_of_scan(read_scan(job.result_folder("scan")), progress=progress)


def mesh_of_file(path: Path, unit: MeshUnit | None) -> tuple[TriangleMesh, tuple[Finding, ...]]:
    """Return the mesh in a file in millimetres; of glTF the unit is known.

    Raises
    ------
    InputError
        When the unit is not given and the size does not tell it.
    """
    from fitkit.body.mesh_unit import mesh_in_mm
    from fitkit.geometry.mesh_files import METRIC_SUFFIXES, read_mesh
    from fitkit.units import MM_PER_UNIT

    mesh = read_mesh(path)
    if path.suffix.lower() in METRIC_SUFFIXES:
        mesh = mesh.with_vertices(mesh.vertices / MM_PER_UNIT["m"])
        unit = unit or "m"
    return mesh_in_mm(mesh, unit=unit, called=path.name)


def _body_of_file(path: Path, section: BodySection, progress: Progress | None) -> Body:
    from fitkit.body.body_of_mesh import body_of_mesh
    from fitkit.body.stand_up import stand_up
    from fitkit.geometry.mesh_repair import repair_mesh

    tell = progress or (lambda _fraction, _words: None)
    tell(0.0, "reading the mesh")
    mesh, findings = mesh_of_file(path, section.mesh_unit)
    tell(0.1, "repairing the mesh")
    repaired = repair_mesh(mesh)
    mesh, findings = repaired.mesh, (*findings, *repaired.findings)
    standing = _standing(mesh, section)
    if standing is not None:
        mesh, findings = stand_up(mesh, standing), (*findings, *standing.findings)
    found = body_of_mesh(mesh, trust_mm=repaired.filled_mm, progress=part_of(progress, 0.3, 1.0))
    return replace(found, findings=(*findings, *found.findings))


def _standing(mesh: TriangleMesh, section: BodySection) -> Standing | None:
    """Return how the mesh is stood up; None where it stands already."""
    import numpy as np

    from fitkit.body.stand_up import Standing, find_standing, standing_through_points

    if section.stand is not None:
        stand = section.stand
        return standing_through_points(
            np.array(stand.low), np.array(stand.high), np.array(stand.front)
        )
    if section.up is None:
        return None
    if section.up == "find":
        found = find_standing(mesh)
        if section.front is None:
            return found
        # Told which way is the front, the body need not be asked; its up still is.
        sure = tuple(f for f in found.findings if f.severity == "note")
        return Standing(found.up, np.array(_way(section.front)), sure)
    usual = _USUAL_FRONT.get(str(section.up), "-y")
    front = usual if section.front is None else section.front
    return Standing(np.array(_way(section.up)), np.array(_way(front)))


def _way(told: str | tuple[float, float, float]) -> tuple[float, float, float]:
    return _WAYS[told] if isinstance(told, str) else told
