"""Where the centre of a ball can be that rolls over a mesh at a distance: for bridging hollows.

A ball of radius r that rolls over the surface at distance d keeps its centre at distance
d + r or more from the mesh. What no such ball can touch is bridged: the closing of the solid by
the ball.
"""

from __future__ import annotations

import numpy as np
from scipy.ndimage import map_coordinates
from scipy.spatial import cKDTree

from fitkit.geometry.arrays import Bools, Floats, Ints
from fitkit.geometry.distance_field import DistanceField, LevelGrid, level_grid
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.mesh_scene import MeshScene
from fitkit.geometry.nearest import nearest_on_mesh

__all__ = ["BallCentres"]

# The centres' grid, as a share of their distance and in cells of the offset's own grid.
_CELL_SHARE = 0.1
_WIDEST_CELLS = 2.0
_SETTLING_ROUNDS = 4
# Directions in which the planes of a cell agree this well leave its point free to slide.
_FREE = 0.001
# How far the grid's word on a distance may be off, and how far near a valley.
_SURE_MM = 0.3
_UNSURE_MM = 1.0
# Balls at the corners of a smooth cell touch about as far apart as the cell is wide.
_APART_CELLS = 1.0
# A ball that would have to sink in by less than this touches: the mesh's own flat triangles ask
# as much of it wherever the mesh is hollow.
_TOUCHES_MM = 0.05


class BallCentres:
    """The places of the centre of a ball that touches the mesh's offset.

    Where the ball touches in one place its centre stands square above it, which a look at the
    distance there tells; hollows are bridged from the valleys of the surface of centres, where it
    touches in two or more. Only those are kept as triangles.

    Parameters
    ----------
    mesh
        Closed and wound outward.
    centre_mm
        Of the centres from the mesh: distance and radius together.
    cell_mm
        Grid spacing of the offset; the centres make do with a coarser one.

    References
    ----------
    T. Ju, F. Losasso, S. Schaefer, J. Warren, "Dual contouring of Hermite data", ACM
    Transactions on Graphics 21 (2002): a point in every cell that the surface passes, where the
    tangents meet. Here the tangents are those of the balls about the nearest points of the mesh,
    and are met by Gauss-Newton steps, so that valleys lie on their balls exactly.
    Closing: J. Serra, *Image Analysis and Mathematical Morphology*, 1982 (from memory).
    """

    def __init__(self, mesh: TriangleMesh, centre_mm: float, *, cell_mm: float) -> None:
        self.mesh = mesh
        self.centre_mm = centre_mm
        self._cell = min(max(_CELL_SHARE * centre_mm, cell_mm), _WIDEST_CELLS * cell_mm)
        self._field = DistanceField(mesh, cell_mm=self._cell, reach_mm=centre_mm)
        self._grid = level_grid(self._field, lambda nodes: self._field.at_nodes(nodes) - centre_mm)
        valleys = _valleys(self._field, self._grid, centre_mm)
        self._valleys = MeshScene(valleys) if len(valleys.faces) else None
        self._near_valleys = cKDTree(valleys.vertices) if len(valleys.faces) else None

    def has_valleys(self) -> bool:
        """Whether there is anything to bridge."""
        return self._valleys is not None

    def is_near(self, points_mm: Floats, distance_mm: float) -> Bools:
        """(N,) bool: whether points could be bridged.

        What a ball bridges lies within the convex hull of the mesh grown by the distance.
        """
        low, high = self.mesh.bounds_mm() + np.array([[-1.0], [1.0]]) * (distance_mm + self._cell)
        near: Bools = ((points_mm > low) & (points_mm < high)).all(axis=1)
        return near

    def centre_above(self, points_mm: Floats) -> Floats:
        """(N, 3) float mm: where the centre would stand of a ball that touches below each point.

        The points are outside the mesh.
        """
        feet = self._field.nearest_mm(points_mm)
        way = points_mm - feet
        way /= np.maximum(np.linalg.norm(way, axis=1, keepdims=True), 1e-12)
        above: Floats = feet + self.centre_mm * way
        return above

    def spanned(
        self, points_mm: Floats, own_mm: Floats, distance_mm: float, *, exactly: bool = False
    ) -> tuple[Ints, Floats]:
        """Return which points no ball can touch from its own centre, and how deep they lie.

        Parameters
        ----------
        points_mm, own_mm
            (N, 3) float mm: points, and the centre of a ball that touches below each.
        distance_mm
            Of the offset from the mesh.
        exactly
            Look again near valleys; the grid alone tells it to a quarter of a millimetre.

        Returns
        -------
        which
            (K,) int.
        depth_mm
            (K,) float mm: below the bridge; negative above it.
        """
        values, origin = self._grid
        rough = map_coordinates(values, ((own_mm - origin) / self._cell).T, order=1, mode="nearest")
        can: Bools = rough >= -_SURE_MM
        if exactly and self._near_valleys is not None:
            unsure = np.flatnonzero((rough > -_UNSURE_MM) & (rough < _SURE_MM))
            reach = self._near_valleys.query(own_mm[unsure], distance_upper_bound=2 * self._cell)[0]
            unsure = unsure[np.isfinite(reach)]
            found = self._field.distance_mm(own_mm[unsure])
            can[unsure] = found >= self.centre_mm - _TOUCHES_MM
        which = np.flatnonzero(~can)
        at = points_mm[which]
        reach = np.linalg.norm(self.nearest_valley_mm(at) - at, axis=1)
        return which, reach - (self.centre_mm - distance_mm)

    def nearest_valley_mm(self, points_mm: Floats) -> Floats:
        """(N, 3) float mm: the nearest centre from which a ball bridges a hollow."""
        assert self._valleys is not None
        return self._valleys.nearest_mm(points_mm)


def _valleys(field: DistanceField, grid: LevelGrid, distance_mm: float) -> TriangleMesh:
    """Return the surface at a distance as triangles between one point a cell, valleys only."""
    values, origin = grid
    cell = field.cell_mm
    starts, steps, quads = [], [], []
    shape = np.array(values.shape)
    for axis in range(3):
        along = np.eye(3, dtype=np.int64)[axis]
        low = values[tuple(slice(0, n - s) for n, s in zip(shape, along, strict=True))]
        high = values[tuple(slice(s, n) for n, s in zip(shape, along, strict=True))]
        crossed = np.argwhere((low < 0) != (high < 0))
        a = low[tuple(crossed.T)].astype(np.float64)
        b = high[tuple(crossed.T)].astype(np.float64)
        starts.append(crossed)
        steps.append((a / (a - b))[:, np.newaxis] * along)
        # The four cells round an edge, in order.
        one, two = np.roll(along, 1), np.roll(along, 2)
        quads.append(crossed[:, np.newaxis] - np.array([0 * one, one, one + two, two]))
    at = origin + (np.vstack(starts) + np.vstack(steps)) * cell
    cells = np.vstack(quads)
    balls = nearest_on_mesh(field.mesh, at)[0]
    key = np.ravel_multi_index(tuple((cells.reshape(-1, 3) + 1).T), tuple(shape + 2))
    used, cell_of = np.unique(key, return_inverse=True)
    crossings, balls = np.repeat(at, 4, axis=0), np.repeat(balls, 4, axis=0)
    points = _meeting_points(len(used), crossings, balls, cell_of, distance_mm)
    middle = origin + (np.stack(np.unravel_index(used, tuple(shape + 2)), axis=1) - 0.5) * cell
    points = middle + np.clip(points - middle, -cell, cell)
    touched_apart = _extent(balls, cell_of, len(used)) > _APART_CELLS * cell
    corners = cell_of.reshape(-1, 4)
    corners = corners[touched_apart[corners].any(axis=1)]
    faces = np.vstack([corners[:, [0, 1, 2]], corners[:, [0, 2, 3]]])
    return TriangleMesh(points, faces).faces_only(np.arange(len(faces)))[0]


def _extent(points: Floats, groups: Ints, count: int) -> Floats:
    """(count,) float mm: diagonal of the box round each group's points."""
    low, high = np.full((count, 3), np.inf), np.full((count, 3), -np.inf)
    np.minimum.at(low, groups, points)
    np.maximum.at(high, groups, points)
    extent: Floats = np.linalg.norm(high - low, axis=1)
    return extent


def _meeting_points(
    count: int, crossings: Floats, balls: Floats, cells: Ints, distance_mm: float
) -> Floats:
    """(count, 3) float mm: per cell the point at the distance from all its balls."""
    share = 1.0 / np.maximum(np.bincount(cells, minlength=count), 1)[:, np.newaxis]
    mass = _summed(crossings, cells, count) * share
    points = mass
    for _ in range(_SETTLING_ROUNDS):
        away = points[cells] - balls
        reach = np.linalg.norm(away, axis=1)
        normals = away / np.maximum(reach, 1e-12)[:, np.newaxis]
        square = _summed(
            (normals[:, :, np.newaxis] * normals[:, np.newaxis]).reshape(-1, 9), cells, count
        ).reshape(-1, 3, 3)
        pull = _summed((distance_mm - reach)[:, np.newaxis] * normals, cells, count)
        # Where the balls leave it free the point stays with the middle of the crossings.
        free = _FREE / share[:, :, np.newaxis] * np.eye(3)
        pull = pull + _FREE / share * (mass - points)
        points = points + np.linalg.solve(square + free, pull[:, :, np.newaxis])[:, :, 0]
    return points


def _summed(rows: Floats, groups: Ints, count: int) -> Floats:
    columns = [np.bincount(groups, weights=column, minlength=count) for column in rows.T]
    return np.stack(columns, axis=1)
