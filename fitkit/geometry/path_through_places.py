"""A line over a mesh through places that lie close together."""

from __future__ import annotations

import numpy as np

from fitkit.geometry.arrays import Bools, Floats, Ints
from fitkit.geometry.geodesic import GeodesicSolver
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.straight_walk import unit_normals
from fitkit.geometry.surface_path import SurfacePath
from fitkit.geometry.surface_point import SurfacePoint
from fitkit.geometry.topology import opposite_half_edges

__all__ = ["path_through_places"]

# A leg that has crossed so many triangles without arriving has lost its way.
_MOST_CROSSINGS = 60
# A place on an edge and the crossing of that edge are one.
_LEAST_STEP_MM = 1e-9


def path_through_places(
    mesh: TriangleMesh, places_mm: Floats, faces: Ints, *, closed: bool = False
) -> SurfacePath:
    """Return the line that runs straight from each place to the next.

    A leg is where the plane through both places and the surface's normal between them cuts
    the mesh. Between places a few triangles apart that is the shortest way to within what
    the mesh itself leaves open, and hundreds of legs are found at once. A leg that loses its way
    on a crumpled surface is found as a shortest line instead.

    Parameters
    ----------
    places_mm, faces
        (N, 3) float mm and (N,) int: places on the mesh and the triangles they lie in; no
        two that follow each other are one.

    Raises
    ------
    MeshError
        When two places that follow each other are on separate pieces of the surface.
    """
    first = np.arange(len(places_mm) if closed else len(places_mm) - 1)
    second = (first + 1) % len(places_mm)
    legs, points, before, arrived = _crossings(
        mesh, places_mm[first], faces[first], places_mm[second], faces[second]
    )
    order = np.argsort(legs, kind="stable")
    bounds = np.searchsorted(legs[order], np.arange(len(first) + 1))
    all_points: list[Floats] = []
    all_faces: list[Ints] = []
    for leg in first:
        crossed = order[bounds[leg] : bounds[leg + 1]]
        if arrived[leg]:
            all_points += [places_mm[leg][None], points[crossed]]
            all_faces += [before[crossed], faces[second[leg]][None]]
        else:
            stops = [SurfacePoint(places_mm[i], int(faces[i])) for i in (leg, second[leg])]
            path = GeodesicSolver(mesh, stops).path(0, 1)
            all_points.append(path.points_mm[:-1])
            all_faces.append(path.faces)
    path_points, path_faces = np.vstack(all_points), np.concatenate(all_faces)
    ends = path_points[:1] if closed else places_mm[-1:]
    steps = np.diff(np.vstack([path_points, ends]), axis=0)
    moves = np.linalg.norm(steps, axis=1) > _LEAST_STEP_MM
    path_points, path_faces = path_points[moves], path_faces[moves]
    if not closed:
        path_points = np.vstack([path_points, ends])
    return SurfacePath(path_points, path_faces, closed)


def _crossings(
    mesh: TriangleMesh, starts: Floats, start_faces: Ints, ends: Floats, end_faces: Ints
) -> tuple[Ints, Floats, Ints, Bools]:
    """Follow every leg from triangle to triangle.

    Returns the leg, place and left triangle of each edge crossed, in the order in which a leg
    crosses them, and which legs arrived.
    """
    opposite = opposite_half_edges(mesh)
    aim = ends - starts
    normals = unit_normals(mesh, start_faces) + unit_normals(mesh, end_faces)
    across = np.cross(aim, normals)
    at, came_by = start_faces.copy(), np.full(len(starts), -1)
    arrived: Bools = np.zeros(len(starts), dtype=np.bool_)
    going = np.arange(len(starts))
    legs: list[Ints] = []
    points: list[Floats] = []
    left: list[Ints] = []
    for _ in range(_MOST_CROSSINGS):
        there = at[going] == end_faces[going]
        arrived[going[there]] = True
        going = going[~there]
        if len(going) == 0:
            break
        corners = mesh.vertices[mesh.faces[at[going]]]
        height = np.einsum("nki,ni->nk", corners - starts[going, None], across[going])
        after_corners, after_height = np.roll(corners, -1, axis=1), np.roll(height, -1, axis=1)
        cut = (height >= 0) != (after_height >= 0)
        # Worked out from the higher corner, an edge has the same crossing from both its faces.
        up = height >= after_height
        high, low = np.where(up, height, after_height), np.where(up, after_height, height)
        share = np.where(cut, high / np.where(cut, high - low, 1.0), 0.0)[..., None]
        from_high = np.where(up[..., None], corners, after_corners)
        to_low = np.where(up[..., None], after_corners, corners)
        place = from_high + share * (to_low - from_high)
        forward = np.einsum("nki,ni->nk", place - starts[going, None], aim[going])
        half = 3 * at[going][:, None] + np.arange(3)
        usable = cut & (half != came_by[going][:, None])
        side = np.where(usable, forward, -np.inf).argmax(axis=1)
        rows = np.arange(len(going))
        over = opposite[half[rows, side]]
        lost = ~usable.any(axis=1) | (over < 0)
        rows, going = rows[~lost], going[~lost]
        legs.append(going)
        points.append(place[rows, side[rows]])
        left.append(at[going])
        came_by[going] = over[rows]
        at[going] = over[rows] // 3
    if not legs:
        return np.zeros(0, dtype=np.int64), np.zeros((0, 3)), np.zeros(0, dtype=np.int64), arrived
    return np.concatenate(legs), np.vstack(points), np.concatenate(left), arrived
