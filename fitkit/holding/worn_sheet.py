"""A plate as it is worn: on the side it was drawn for, or mirrored on the other."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial import cKDTree

from fitkit.geometry.arrays import Bools, Floats
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.nearest import nearest_on_mesh
from fitkit.geometry.straight_walk import unit_normals
from fitkit.geometry.topology import boundary_loops
from fitkit.patch.patch import Patch

__all__ = ["ACROSS", "WornSheet", "worn_sheets"]

ACROSS = np.array([-1.0, 1.0, 1.0])
"""To the wearer's other side: what a place is multiplied by."""

# A place is beside a sheet when its nearest place there lies so far aside, or aside by so much of
# how far it lies off: on a round sheet the way to the nearest place leans with the triangles.
_ASIDE_MM, _ASIDE_SHARE = 0.3, 0.2
_RIM_STEP_MM = 0.5
# The least room under a plate is that of all but so many hundredths of it: one bump of a scan does
# not hold a plate off.
_BUMPS_PCT = 2.0


@dataclass(frozen=True, slots=True, eq=False)
class WornSheet:
    """The middle of a plate's sheet as worn.

    Attributes
    ----------
    patch, twin
        Name of the patch, and whether this is the mirrored one of a pair.
    mesh
        Wound outward.
    thickness_mm
        The sheet's.
    paired
        Whether its patch is made in a pair.
    material
        The sheet's, by name.
    """

    patch: str
    twin: bool
    mesh: TriangleMesh
    thickness_mm: float
    paired: bool = False
    material: str = ""

    def holds(self, points_mm: Floats) -> Bools:
        """(N,) bool: whether places (N, 3) lie over the sheet or under it, not beside."""
        nearest, faces, _ = nearest_on_mesh(self.mesh, points_mm)
        off = points_mm - nearest
        up = np.einsum("ni,ni->n", off, unit_normals(self.mesh, faces))
        aside = np.sqrt(np.maximum(np.einsum("ni,ni->n", off, off) - up * up, 0.0))
        inside: Bools = aside < _ASIDE_MM + _ASIDE_SHARE * np.abs(up)
        return inside

    def rim_mm(self, points_mm: Floats) -> Floats:
        """(N,) float mm: how far places (N, 3) lie from the sheet's nearest edge."""
        away: Floats = cKDTree(_along_rim(self.mesh)).query(points_mm)[0]
        return away

    def outward(self) -> Floats:
        """(3,) float, unit: the mean of its outward normals."""
        whole = self.mesh.face_normals_scaled().sum(axis=0)
        unit: Floats = whole / max(float(np.linalg.norm(whole)), 1e-300)
        return unit

    def room_mm(self, body: TriangleMesh) -> float:
        """Return how far it can sink until it touches the bare body."""
        away = nearest_on_mesh(body, self.mesh.vertices)[2] - 0.5 * self.thickness_mm
        return max(float(np.percentile(away, _BUMPS_PCT)), 0.0)

    def as_drawn(self, points_mm: Floats) -> Floats:
        """(N, 3) float mm: places on it as they lie on the patch as drawn."""
        return points_mm * ACROSS if self.twin else points_mm


def _along_rim(mesh: TriangleMesh) -> Floats:
    """(N, 3) float mm: places along all of a mesh's border, close to each other."""
    places = [mesh.vertices[:0]]
    for loop in boundary_loops(mesh):
        ends = mesh.vertices[loop]
        ways = np.roll(ends, -1, axis=0) - ends
        count = int(np.ceil(np.linalg.norm(ways, axis=1).max() / _RIM_STEP_MM))
        share = np.arange(count, dtype=np.float64)[:, None, None] / count
        places.append((ends + share * ways).reshape(-1, 3))
    return np.concatenate(places)


def worn_sheets(patch: Patch) -> tuple[WornSheet, ...]:
    """Return the sheet of a patch as drawn, then its mirrored twin where it has one."""
    design = patch.design
    drawn = WornSheet(
        design.name, False, patch.mesh, design.thickness_mm, design.paired, design.material
    )
    if not drawn.paired:
        return (drawn,)
    other = TriangleMesh(patch.mesh.vertices * ACROSS, patch.mesh.faces[:, ::-1])
    return drawn, replace(drawn, twin=True, mesh=other)
