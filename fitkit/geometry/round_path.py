"""Circles on a mesh: all places at one distance from a point."""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from fitkit.errors import PathError
from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.path_through_places import path_through_places
from fitkit.geometry.straight_walk import unit_normals, walk_straight
from fitkit.geometry.surface_path import SurfacePath
from fitkit.geometry.surface_point import SurfacePoint
from fitkit.geometry.surroundings import surroundings

__all__ = ["round_path"]

# So far apart on the round that its chords leave it by radius / 8000.
_RAYS = 200


def round_path(mesh: TriangleMesh, centre: SurfacePoint, radius_mm: float) -> SurfacePath:
    """Return the circle that a taut string of a length draws over a mesh round a point.

    The string is walked straight ahead in evenly spread directions; the round runs
    counter-clockwise seen from outside.

    Raises
    ------
    PathError
        When the round runs off the mesh, with the place, or comes back on itself.
    """
    near, near_faces = surroundings(mesh, centre.point_mm[None], radius_mm + 1.0)
    face = np.flatnonzero(near_faces == centre.face)
    normal = unit_normals(mesh, np.array([centre.face]))[0]
    first = np.cross(normal, np.eye(3)[int(np.abs(normal).argmin())])
    first /= np.linalg.norm(first)
    turn = 2.0 * np.pi * np.arange(_RAYS)[:, None] / _RAYS
    ways = radius_mm * (np.cos(turn) * first + np.sin(turn) * np.cross(normal, first))
    walks = walk_straight(
        near,
        np.repeat(centre.point_mm[None], _RAYS, axis=0),
        np.repeat(face, _RAYS),
        ways,
    )
    if not walks.whole.all():
        place = walks.points_mm[int(np.argmin(walks.whole))]
        raise PathError(
            f"A round of {radius_mm:g} mm runs off the surface.",
            "Choose a smaller radius or another centre.",
            place,
        )
    place = _meeting(walks.points_mm, radius_mm)
    if place is not None:
        raise PathError(
            f"A round of {radius_mm:g} mm comes back on itself.",
            "Choose a smaller radius, or draw a closed line through points.",
            place,
        )
    path = path_through_places(near, walks.points_mm, walks.faces, closed=True)
    return SurfacePath(path.points_mm, near_faces[path.faces], closed=True)


def _meeting(ends: Floats, radius_mm: float) -> Floats | None:
    """Where ends whose directions are far apart come to lie close together."""
    steps = np.linalg.norm(np.roll(ends, -1, axis=0) - ends, axis=1)
    close = max(float(steps.max()), 0.2 * 2.0 * np.pi * radius_mm / _RAYS)
    pairs = cKDTree(ends).query_pairs(close, output_type="ndarray")
    if len(pairs) == 0:
        return None
    apart = np.abs(pairs[:, 0] - pairs[:, 1])
    apart = np.minimum(apart, _RAYS - apart)
    # Directions 30 degrees apart within one step: the string has gone round something.
    far = pairs[apart > _RAYS // 12]
    return ends[far[0, 0]] if len(far) else None
