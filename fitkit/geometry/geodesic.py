"""Shortest lines over a mesh."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import potpourri3d as pp3d
from scipy.sparse import coo_array, csr_array
from scipy.sparse.csgraph import connected_components, dijkstra
from scipy.spatial import cKDTree

from fitkit.errors import MeshError, PathError
from fitkit.geometry.arrays import Bools, Floats, Ints
from fitkit.geometry.faces_along import faces_along
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.point_insertion import insert_points
from fitkit.geometry.remembered import remembered
from fitkit.geometry.short_walk import short_walk
from fitkit.geometry.surface_cut import part_where_touching
from fitkit.geometry.surface_path import SurfacePath
from fitkit.geometry.surface_point import SurfacePoint
from fitkit.geometry.topology import edges, vertex_adjacency

__all__ = ["GeodesicSolver", "join_paths", "shortest_legs", "shortest_path"]

# How far a point of a found line may lie from the triangle it is given; the solver works in
# double precision, so this only catches a line that was followed wrongly.
_OFF_FACE_MM = 1e-3
# A walk of steps over edges is at most so much longer than the line it leads to.
_WALK = 1.03


def shortest_path(mesh: TriangleMesh, start: SurfacePoint, end: SurfacePoint) -> SurfacePath:
    """Return the shortest line over a mesh between two points anywhere on it.

    See :class:`GeodesicSolver` for what shortest means.

    Raises
    ------
    MeshError
        When the two are one point or lie on separate pieces of the surface.
    """
    return shortest_legs(mesh, [start, end])[0]


class GeodesicSolver:
    """Shortest lines between chosen points of one mesh.

    The points are made into vertices, a shortest walk along edges is found and straightened by
    flipping edges until it is straight everywhere. The result is exact on the mesh and the
    shortest of its neighbours; a second, finer walk then tells whether the other side of a bump
    is shorter, and if so it is straightened instead.

    Parameters
    ----------
    mesh
        Edge-manifold.
    points
        The points between which lines are wanted.

    Raises
    ------
    MeshError
        When the mesh is not a clean surface or a point is not on it.

    References
    ----------
    Sharp & Crane 2020, "You can find geodesic paths in triangle meshes by just flipping
    edges", ACM Transactions on Graphics 39(6), 249.
    """

    def __init__(self, mesh: TriangleMesh, points: Sequence[SurfacePoint]) -> None:
        self.mesh = mesh
        self._split, self._vertices, self._source = insert_points(mesh, points)
        faces = self._split.faces
        count = len(self._split.vertices)
        ends = np.vstack([faces[:, [0, 1]], faces[:, [1, 2]]])
        graph = coo_array((np.ones(len(ends)), (ends[:, 0], ends[:, 1])), shape=(count, count))
        self._piece = connected_components(graph, directed=False)[1]
        corner_vertex = faces.ravel()
        order = np.argsort(corner_vertex, kind="stable")
        self._fan_faces = order // 3
        self._fan_start = np.searchsorted(corner_vertex[order], np.arange(count + 1))
        # The solver takes no loose vertices; vertices in use keep their order.
        used = np.zeros(count, dtype=np.bool_)
        used[corner_vertex] = True
        self._number = np.cumsum(used) - 1
        self._vertices_mm, self._faces = self._split.vertices[used], self._number[faces]
        try:
            self._solver = pp3d.EdgeFlipGeodesicSolver(self._vertices_mm, self._faces)
        except (RuntimeError, ValueError) as error:
            raise MeshError(
                f"No shortest line can be found on this surface: {error}.",
                "Repair the surface: each edge may join two triangles at most.",
            ) from error

    def path(self, start: int, end: int) -> SurfacePath:
        """Return the shortest line between two of the points, by their place in the list.

        Raises
        ------
        MeshError
            When the two are one point or lie on separate pieces of the surface.
        """
        first, last = int(self._vertices[start]), int(self._vertices[end])
        if first == last:
            raise MeshError(
                "A shortest line was asked for between two points that are one.",
                "Give two different points.",
            )
        if self._piece[first] != self._piece[last]:
            raise MeshError(
                "The two ends of a line lie on separate pieces of the surface.",
                "Choose both ends on the same piece.",
            )
        ends = int(self._number[first]), int(self._number[last])
        points = np.asarray(self._solver.find_geodesic_path(*ends), dtype=np.float64)
        points = self._round_other_side(points, *ends)
        moves = np.linalg.norm(np.diff(points, axis=0), axis=1) > 0
        points = points[np.r_[True, moves]]
        faces = self._source[self._faces_along(points, first)]
        # Within one triangle a shortest line is straight: bends there are inserted points.
        corners = np.r_[True, faces[1:] != faces[:-1], True]
        return SurfacePath(points[corners], faces[corners[:-1]])

    def _round_other_side(self, points: Floats, first: int, last: int) -> Floats:
        """Return the line on the other side of a bump where a walk there promises a shorter one.

        The solver starts from a walk along edges, which may take the wrong side.
        """
        length = float(np.linalg.norm(np.diff(points, axis=0), axis=1).sum())
        walk = short_walk(self._vertices_mm, self._faces, first, last, longest_mm=_WALK * length)
        if len(walk) < 3:
            return points
        off, _ = cKDTree(_dense(points)).query(self._vertices_mm[walk])
        widest = float(np.linalg.norm(np.diff(self._vertices_mm[walk], axis=0), axis=1).max())
        if off.max() < widest:
            return points
        other = np.asarray(self._solver.find_geodesic_path_poly(walk), dtype=np.float64)
        shorter = float(np.linalg.norm(np.diff(other, axis=0), axis=1).sum()) < length
        return other if shorter else points

    def _faces_along(self, points: Floats, first: int) -> Ints:
        """Triangle of the split mesh for each segment of a line that starts at a vertex."""
        chosen, off_mm = faces_along(
            points,
            first,
            self._split.vertices,
            self._split.faces,
            self._fan_faces,
            self._fan_start,
        )
        lost = np.flatnonzero(off_mm > _OFF_FACE_MM)
        if len(lost):
            raise PathError(
                "A shortest line could not be followed.",
                "Repair the surface there: it has triangles without area.",
                points[lost[0]],
            )
        faces: Ints = chosen
        return faces


def _dense(points: Floats) -> Floats:
    """Places along a line, a millimetre or a thousandth of it apart."""
    arc = np.r_[0.0, np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))]
    at = np.linspace(0.0, arc[-1], min(int(arc[-1]), 1000) + 2)
    return np.stack([np.interp(at, arc, points[:, k]) for k in range(3)], axis=1)


def shortest_legs(
    mesh: TriangleMesh, points: Sequence[SurfacePoint], *, closed: bool = False
) -> tuple[SurfacePath, ...]:
    """Return the shortest lines from each point to the next, and back to the first if closed.

    Only the part of the mesh that a shortest line could touch is worked on: a walk along
    edges bounds the length from above, and every point of a line that short lies in the ellipsoid
    round its ends with that length as its long axis.

    Raises
    ------
    MeshError
        As :class:`GeodesicSolver`.
    """
    count = len(points)
    pairs = [(i, (i + 1) % count) for i in range(count if closed else count - 1)]
    near: Bools = np.zeros(len(mesh.vertices), dtype=np.bool_)
    graph = _edge_graph(mesh)
    for first, last in pairs:
        a, b = points[first], points[last]
        bound = _walk_length(mesh, graph, a, b) * (1.0 + 1e-9) + 1e-6
        near |= (
            np.linalg.norm(mesh.vertices - a.point_mm, axis=1)
            + np.linalg.norm(mesh.vertices - b.point_mm, axis=1)
            <= bound
        )
    # An ellipsoid may pass through the middle of a face and miss its corners.
    touched: Bools = np.asarray(near[mesh.faces].any(axis=1))
    touched[[point.face for point in points]] = True
    grown = np.zeros_like(near)
    grown[mesh.faces[touched].ravel()] = True
    chosen = np.flatnonzero(grown[mesh.faces].any(axis=1))
    part, _ = mesh.faces_only(chosen)
    part = part_where_touching(part)
    number = np.full(len(mesh.faces), -1)
    number[chosen] = np.arange(len(chosen))
    solver = GeodesicSolver(
        part, [SurfacePoint(point.point_mm, int(number[point.face])) for point in points]
    )
    legs = []
    for first, last in pairs:
        path = solver.path(first, last)
        legs.append(SurfacePath(path.points_mm, chosen[path.faces]))
    return tuple(legs)


@remembered
def _edge_graph(mesh: TriangleMesh) -> csr_array:
    """Return the mesh's edges as a graph whose weights are their lengths, mm."""
    ends, _ = edges(mesh)
    lengths: Floats = np.linalg.norm(mesh.vertices[ends[:, 0]] - mesh.vertices[ends[:, 1]], axis=1)
    return vertex_adjacency(mesh, np.maximum(lengths, 1e-12)).tocsr()


def _walk_length(
    mesh: TriangleMesh, graph: csr_array, start: SurfacePoint, end: SurfacePoint
) -> float:
    """Length of a walk along edges between two points, from corner to corner of their faces."""
    corners = [mesh.faces[point.face] for point in (start, end)]
    hops = [
        np.linalg.norm(mesh.vertices[c] - p.point_mm, axis=1)
        for c, p in zip(corners, (start, end), strict=True)
    ]
    first = int(corners[0][int(hops[0].argmin())])
    straight = float(np.linalg.norm(start.point_mm - end.point_mm))
    for limit in (3.0 * straight + 100.0, np.inf):
        walks = dijkstra(graph, directed=False, indices=first, limit=limit)
        length = float((walks[corners[1]] + hops[1]).min() + hops[0].min())
        if np.isfinite(length):
            return length
    raise MeshError(
        "The two ends of a line lie on separate pieces of the surface.",
        "Choose both ends on the same piece.",
    )


def join_paths(paths: Sequence[SurfacePath], *, closed: bool = False) -> SurfacePath:
    """Return paths, each starting where the one before ended, as one.

    Parameters
    ----------
    closed
        The last ends where the first starts.
    """
    points = np.vstack([path.points_mm[:-1] for path in paths])
    faces = np.concatenate([path.faces for path in paths])
    if not closed:
        points = np.vstack([points, paths[-1].points_mm[-1:]])
    return SurfacePath(points, faces, closed)
