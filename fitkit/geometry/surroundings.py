"""The part of a mesh near a line."""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from fitkit.geometry.arrays import Floats, Ints
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.remembered import remembered
from fitkit.geometry.surface_cut import part_where_touching

__all__ = ["surroundings"]


@remembered
def _spans(mesh: TriangleMesh) -> tuple[Floats, Floats]:
    """Middle of each face and how far its corners are from it, mm."""
    corners = mesh.corners
    middles: Floats = corners.mean(axis=1)
    size: Floats = np.linalg.norm(corners - middles[:, None], axis=2).max(axis=1)
    return middles, size


def surroundings(
    mesh: TriangleMesh, places_mm: Floats, within_mm: float
) -> tuple[TriangleMesh, Ints]:
    """Return the part of the mesh near some places, on which all goes faster.

    Parameters
    ----------
    places_mm
        (N, 3) float mm.
    within_mm
        How far from the nearest of the places the part reaches at least.

    Returns
    -------
    mesh
        Parted where the part touches itself in a single vertex.
    source_face
        (F,) int: the face of the given mesh that each face is.
    """
    middles, size = _spans(mesh)
    low, high = places_mm.min(axis=0), places_mm.max(axis=0)
    reach = (within_mm + size)[:, None]
    boxed = np.flatnonzero(((middles > low - reach) & (middles < high + reach)).all(axis=1))
    distance, _ = cKDTree(places_mm).query(middles[boxed])
    chosen = boxed[distance < within_mm + size[boxed]]
    near, _ = mesh.faces_only(chosen)
    return part_where_touching(near), chosen
