"""Points put at a set distance from a mesh."""

from __future__ import annotations

import numpy as np

from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.nearest import nearest_on_mesh

__all__ = ["at_distance"]


def at_distance(points: Floats, mesh: TriangleMesh, distance_mm: float) -> tuple[Floats, Floats]:
    """Return points put at a distance above the nearest place of a mesh, and the way outward.

    Parameters
    ----------
    points
        (N, 3) float mm, on either side of the mesh.
    distance_mm
        Positive outward.

    Returns
    -------
    points_mm
        (N, 3) float mm.
    outward
        (N, 3) float, unit.
    """
    nearest, faces, reach = nearest_on_mesh(mesh, points)
    scaled = mesh.face_normals_scaled()[faces]
    normals = scaled / np.maximum(np.linalg.norm(scaled, axis=1, keepdims=True), 1e-300)
    away = (points - nearest) / np.maximum(reach, 1e-12)[:, np.newaxis]
    outside = np.einsum("vi,vi->v", away, normals)
    outward = away * np.where(outside < 0, -1.0, 1.0)[:, np.newaxis]
    # Too near the mesh the way away from it is rounding; the face knows better.
    outward = np.where((reach < 1e-3)[:, np.newaxis], normals, outward)
    return nearest + distance_mm * outward, outward
