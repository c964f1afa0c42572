"""Moves that bring a plain surface down into hollows, in which no outline ever runs.

The hull of all outlines spans a hollow. Stereo on plain cloth or lacquer is rough, and mostly
too deep, but where no rim holds the surface it is the better witness: in the hollows beside the
arms and along the spine the hull stands off by 10 to 25 mm, stereo by 4 to 5 in the median.
"""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from fitkit.capture.point_cloud import PointCloud
from fitkit.capture.surface_smoothing import Sparse
from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh

__all__ = ["hollow_moves"]

# What rims and patterns hold holds its neighbourhood too, this far.
_SPREAD_MM = 16.0
_HELD = 0.06
_REACH_MM, _ASIDE_MM = 45.0, 10.0
_NEAREST_N, _FEWEST_N = 60, 5
_MOST_SCATTER_MM, _TOO_DEEP_MM = 4.0, 3.0
_DEEPEST_MM = 30.0
_LEAST_FACING = 0.3
_BELIEF = 0.05


def hollow_moves(
    mesh: TriangleMesh,
    normal: Floats,
    cloud: PointCloud,
    certainty: Floats,
    averaged: Sparse,
    *,
    scale: float,
) -> tuple[Floats, Floats]:
    """Return moves inwards to the points of stereo, and how much to believe them.

    Parameters
    ----------
    mesh
        Closed and wound outward.
    normal
        (V, 3) float: of :func:`fitkit.capture.surface_smoothing.even_normals`.
    cloud
        What stereo takes for the surface.
    certainty
        (V,) float, 0 to 4: of what outlines and patterns say.
    averaged
        Of :func:`fitkit.capture.surface_smoothing.averaging`.
    scale
        Size of the subject's detail against that of a body.

    Returns
    -------
    Floats, Floats
        (V,) float mm, 0 and below, and 0 to 0.05: 0 where anything else holds the surface.
    """
    offset, belief = np.zeros(len(certainty)), np.zeros(len(certainty))
    if len(cloud.points_mm) < _FEWEST_N:
        return offset, belief
    held = _spread(mesh, certainty, averaged, scale)
    loose = np.flatnonzero(held < _HELD)
    tree = cKDTree(cloud.points_mm)
    distance, nearest = tree.query(
        mesh.vertices[loose],
        k=_NEAREST_N,
        distance_upper_bound=scale * _REACH_MM,
        workers=-1,
    )
    found = np.isfinite(distance)
    nearest[~found] = 0
    way = cloud.points_mm[nearest] - mesh.vertices[loose, None]
    along = np.einsum("vki,vi->vk", way, normal[loose])
    aside2 = (way**2).sum(axis=2) - along**2
    facing = np.einsum("vki,vi->vk", cloud.normals[nearest], normal[loose])
    found &= (aside2 < (scale * _ASIDE_MM) ** 2) & (facing > _LEAST_FACING)
    enough = found.sum(axis=1) >= _FEWEST_N
    loose, along = loose[enough], np.where(found, along, np.nan)[enough]
    depth = np.nanmedian(along, axis=1)
    scatter = np.nanmedian(np.abs(along - depth[:, None]), axis=1)
    alike = scatter < scale * _MOST_SCATTER_MM
    loose, depth = loose[alike], depth[alike]
    offset[loose] = np.clip(depth + scale * _TOO_DEEP_MM, -scale * _DEEPEST_MM, 0.0)
    belief[loose] = _BELIEF * (1.0 - held[loose] / _HELD)
    return offset, belief


def _spread(mesh: TriangleMesh, certainty: Floats, averaged: Sparse, scale: float) -> Floats:
    """(V,) float: the certainty of the neighbourhood, whatever the size of the triangles."""
    edge_mm = float(np.sqrt(mesh.face_areas_mm2().sum() / len(mesh.vertices)))
    # A round of averaging by half spreads by about half an edge, squares adding up.
    for _ in range(int(np.ceil(4.0 * (scale * _SPREAD_MM / edge_mm) ** 2))):
        certainty = 0.5 * (certainty + averaged @ certainty)
    return certainty
