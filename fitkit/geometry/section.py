"""Where a plane cuts a mesh."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from fitkit.errors import ShapeError
from fitkit.geometry.arrays import Bools, Floats, Ints
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.surface_path import SurfacePath

__all__ = ["plane_sections"]


def plane_sections(
    mesh: TriangleMesh, point_mm: ArrayLike, normal: ArrayLike
) -> tuple[SurfacePath, ...]:
    """Return the lines in which a plane cuts a mesh, longest first.

    Rounds are closed where the mesh is; elsewhere a path ends at the border. On a mesh
    wound outward a round runs counter-clockwise about the inside seen from the tip of
    ``normal``, a hole in it clockwise.

    A vertex in the plane counts as lying just on the normal's side. So every triangle is
    either left alone or crossed from one side to another, whatever the plane meets.

    Parameters
    ----------
    point_mm
        (3,) float mm: any point of the plane.
    normal
        (3,) float, any length but zero.

    Raises
    ------
    ShapeError
        When the normal has no length.
    """
    point = np.asarray(point_mm, dtype=np.float64)
    direction = np.asarray(normal, dtype=np.float64)
    length = float(np.linalg.norm(direction))
    if not length > 0:
        raise ShapeError("The normal of the section plane has no length.", "Give a direction.")
    if len(mesh.faces) == 0:
        return ()
    height = (mesh.vertices - point) @ (direction / length)
    # Rounding must not decide whether the plane passes through a vertex.
    height[np.abs(height) < 1e-12 * max(1.0, float(np.abs(mesh.vertices).max()))] = 0.0
    above: Bools = height >= 0

    a, b, c = (above[mesh.faces[:, corner]] for corner in range(3))
    crossed = np.flatnonzero((a != b) | (b != c))
    faces = mesh.faces[crossed]
    sides = above[faces]
    # Of a crossed face's three sides one goes down through the plane and one comes up; the
    # cut runs from the first to the second.
    next_faces, next_sides = np.roll(faces, -1, axis=1), np.roll(sides, -1, axis=1)
    rows = np.arange(len(crossed))
    down = np.argmax(sides & ~next_sides, axis=1)
    up = np.argmax(~sides & next_sides, axis=1)
    vertex_count = len(mesh.vertices)
    from_edge = faces[rows, down] * vertex_count + next_faces[rows, down]
    to_edge = next_faces[rows, up] * vertex_count + faces[rows, up]
    # Both keys are written upper vertex first, so one edge has one key and one point.
    edge_keys, node = np.unique(np.concatenate([from_edge, to_edge]), return_inverse=True)
    high, low = np.divmod(edge_keys, vertex_count)
    fraction = (height[high] / (height[high] - height[low]))[:, np.newaxis]
    points = mesh.vertices[high] + fraction * (mesh.vertices[low] - mesh.vertices[high])

    chains = _chains(node[: len(crossed)], node[len(crossed) :])
    paths = [
        path
        for nodes, segments, closed in chains
        if (path := _path(points[nodes], crossed[segments], closed)) is not None
    ]
    return tuple(sorted(paths, key=SurfacePath.length_mm, reverse=True))


def _chains(start: Ints, end: Ints) -> list[tuple[Ints, Ints, bool]]:
    """Link segments from start node to end node into chains of (nodes, segments, closed)."""
    order = np.argsort(start, kind="stable")
    place = np.searchsorted(start[order], end)
    place[place == len(order)] = 0
    follows = np.where(start[order][place] == end, order[place], -1) if len(order) else order
    following = follows.tolist()
    waiting = np.ones(len(start), dtype=np.bool_).tolist()
    # Chains that begin at a border come first, so that no round starts in their middle.
    first_segments = np.flatnonzero(~np.isin(start, end)).tolist()
    chains = []
    for first in [*first_segments, *range(len(start))]:
        if not waiting[first]:
            continue
        segments = []
        segment = first
        while segment >= 0 and waiting[segment]:
            waiting[segment] = False
            segments.append(segment)
            segment = following[segment]
        closed = segment == first
        chain = np.array(segments)
        nodes = start[chain] if closed else np.append(start[chain], end[chain[-1]])
        chains.append((nodes, chain, closed))
    return chains


def _path(points: Floats, faces: Ints, closed: bool) -> SurfacePath | None:
    """Return a path without its segments of no length; None when nothing is left."""
    following = np.roll(points, -1, axis=0) if closed else points[1:]
    moves = (following != points[: len(faces)]).any(axis=1)
    if closed:
        points, faces = points[moves], faces[moves]
        return SurfacePath(points, faces, closed=True) if len(points) > 2 else None
    points = np.vstack([points[:-1][moves], points[-1:]])
    return SurfacePath(points, faces[moves]) if len(points) > 1 else None
