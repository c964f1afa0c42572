"""Which plates are riveted to which, twins told apart, and what covers the rivets."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from fitkit.flatten.edge_names import is_seam
from fitkit.flatten.flat_patch import FlatPatch
from fitkit.geometry.arrays import Floats, frozen_floats
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.nearest import nearest_on_mesh, rays_of
from fitkit.materials.rivet import Rivet
from fitkit.shop.worn_plate import WornPlate
from fitkit.template.blank_edges import shown_line
from fitkit.template.mirror import mirrored_name
from fitkit.template.rivet_joint import RivetHoles

__all__ = ["Joint", "riveted_joints"]

# What lies within this outside a rivet keeps the tool off it; common practice, no source.
_COVERED_MM = 60.0
_OFF_SHEET_MM = 0.5
_ACROSS = np.array([-1.0, 1.0, 1.0])


@dataclass(frozen=True, slots=True, eq=False)
class Joint:
    """A row of rivets between two worn plates, or along the seam of one.

    Attributes
    ----------
    lap, plate
        Numbers of the plate whose lap it stands in, and of the one under the lap; the same for a
        seam.
    line
        Along which line, as it is called on the lap's side.
    rivet, length_mm, drill_mm
        What is used.
    at_mm
        (N, 3) float mm: where they stand.
    later
        Whether the plate under the lap is drilled through it.
    covered_by
        Numbers of the plates that lie over some of the rivets.
    """

    lap: int
    plate: int
    line: str
    rivet: Rivet
    length_mm: float
    drill_mm: float
    at_mm: Floats
    later: bool
    covered_by: tuple[int, ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "at_mm", frozen_floats(self.at_mm, (None, 3), "at_mm"))

    @property
    def is_seam(self) -> bool:
        """Whether it closes one plate."""
        return self.lap == self.plate


def riveted_joints(
    flats: Sequence[FlatPatch], rows: Sequence[RivetHoles], plates: Sequence[WornPlate]
) -> tuple[Joint, ...]:
    """Return every joint as worn; a row that was drawn once for a pair gives one on each side."""
    by_name = {flat.design.name: flat for flat in flats}
    drawn = {plate.design: plate for plate in plates if not plate.twin}
    twins = {plate.design: plate for plate in plates if plate.twin}
    later = {(row.patch, row.edge) for row in rows if row.later}
    joints: list[Joint] = []
    for row in rows:
        if not row.joins:
            continue
        flat = by_name[row.patch]
        edge = flat.outline[row.edge]
        line = shown_line(flat.design, edge.line)
        under = by_name[row.joins]
        # On the drawn side it may be the neighbour's twin that lies under the lap.
        other_side = (
            under.design.paired
            and not is_seam(edge.line)
            and _distance(under.form, row.formed_mm * _ACROSS)
            < _distance(under.form, row.formed_mm)
        )
        waits = any(name == row.joins for name, _ in later)
        for on_twin in (False, True) if flat.design.paired else (False,):
            of_lap = twins if on_twin else drawn
            crosses = under.design.paired and other_side != on_twin
            of_plate = twins if crosses else drawn
            at = row.formed_mm * (_ACROSS if on_twin else 1.0)
            joint = Joint(
                of_lap[row.patch].number,
                of_plate[row.joins].number,
                mirrored_name(line) if on_twin else line,
                row.rivet,
                row.length_mm,
                row.drill_mm,
                at,
                waits,
            )
            joints.append(_with_covers(joint, plates))
    return tuple(sorted(joints, key=lambda joint: (joint.lap, joint.plate, joint.line)))


def _distance(mesh: TriangleMesh, points: Floats) -> float:
    return float(np.mean(nearest_on_mesh(mesh, points)[2]))


def _with_covers(joint: Joint, plates: Sequence[WornPlate]) -> Joint:
    own = next(plate for plate in plates if plate.number == joint.plate)
    faces = nearest_on_mesh(own.mesh, joint.at_mm)[1]
    normals = own.mesh.face_normals_scaled()[faces]
    normals = normals / np.linalg.norm(normals, axis=1, keepdims=True)
    start = joint.at_mm + _OFF_SHEET_MM * normals
    covers = []
    for plate in plates:
        if plate.number in (joint.lap, joint.plate):
            continue
        low, high = plate.mesh.bounds_mm() + np.array([[-_COVERED_MM], [_COVERED_MM]])
        if not ((start > low) & (start < high)).all(axis=1).any():
            continue
        hits = rays_of(plate.mesh).first_hit(start, normals)
        if (hits.distance_mm < _COVERED_MM).any():
            covers.append(plate.number)
    return replace(joint, covered_by=tuple(covers))
