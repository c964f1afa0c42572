"""Signed distance from a closed mesh on a grid, worked out where it is asked for and kept."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from fitkit.errors import InputError, MeshError
from fitkit.geometry.arrays import Bools, Floats, Ints
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.mesh_scene import MeshScene
from fitkit.geometry.topology import is_closed

__all__ = ["DistanceField", "LevelGrid", "level_grid"]

# Edges of the blocks in which a surface is searched for, in cells, coarse to fine.
_BLOCKS = (16, 4, 2)
_MOST_NODES = 400_000_000

LevelGrid: TypeAlias = tuple[NDArray[np.float32], Floats]
"""(I, J, K) float values, true near their zero and elsewhere of the right sign, and the (3,)
float mm place of node 0, 0, 0."""


class DistanceField:
    """Signed distance from a mesh at the nodes of a grid; each node is looked up once.

    Parameters
    ----------
    mesh
        Closed and wound outward.
    cell_mm
        Grid spacing. Nodes lie at whole and a half cells from the origin of the frame: a
        mesh symmetric in x = 0 gets a symmetric grid, whatever the reach.
    reach_mm
        How far outside the mesh the grid goes.

    Raises
    ------
    InputError
        When the cell is not positive or so small that the grid would not fit in memory.
    MeshError
        When the mesh is not closed.
    """

    def __init__(self, mesh: TriangleMesh, *, cell_mm: float, reach_mm: float) -> None:
        if not (np.isfinite(reach_mm) and np.isfinite(cell_mm) and cell_mm > 0):
            raise InputError(
                f"A distance of {reach_mm} mm on cells of {cell_mm} mm makes no surface.",
                "Give a finite distance and a cell larger than 0.",
            )
        if not is_closed(mesh):
            raise MeshError(
                "The mesh has holes or edges with more than two faces.",
                "Close it first: inside and outside must be told apart.",
            )
        self.mesh = mesh
        self.cell_mm = cell_mm
        self.reach_mm = reach_mm
        low, high = mesh.bounds_mm() + np.array([[-1.0], [1.0]]) * (max(reach_mm, 0) + 2 * cell_mm)
        first = np.floor(low / cell_mm - 0.5)
        cells = np.ceil(high / cell_mm) - first
        self.blocks: Ints = np.ceil(cells / _BLOCKS[0]).astype(np.int64)
        shape = self.blocks * _BLOCKS[0] + 1
        nodes = float(np.prod(shape.astype(np.float64)))
        if nodes > _MOST_NODES:
            raise InputError(
                f"Cells of {cell_mm:g} mm over {np.round(high - low)} mm need {nodes:.3g} grid "
                "points.",
                "Choose larger cells.",
            )
        self._first: Floats = first + 0.5
        self._known = np.full(shape, np.nan, dtype=np.float32)
        self._scene = MeshScene(mesh)

    def places_mm(self, nodes: Ints) -> Floats:
        """(N, 3) float mm: where nodes are, the same to the last bit whatever the reach."""
        places: Floats = (self._first + nodes) * self.cell_mm
        return places

    def distance_mm(self, points_mm: Floats) -> Floats:
        """(N,) float mm: signed distance at any points."""
        return self._scene.signed_distance_mm(points_mm).astype(np.float64)

    def nearest_mm(self, points_mm: Floats) -> Floats:
        """(N, 3) float mm: the nearest point of the mesh to any points."""
        return self._scene.nearest_mm(points_mm)

    def at_nodes(self, nodes: Ints) -> Floats:
        """(N,) float mm: signed distance at (N, 3) int nodes, positive outside."""
        index = np.ravel_multi_index(tuple(nodes.T), self._known.shape)
        flat = self._known.reshape(-1)
        missing = np.unique(index[np.isnan(flat[index])])
        if len(missing):
            places = np.stack(np.unravel_index(missing, self._known.shape), axis=1)
            flat[missing] = self._scene.signed_distance_mm(self.places_mm(places))
        values: Floats = flat[index].astype(np.float64)
        return values


def level_grid(field: DistanceField, value_at: Callable[[Ints], Floats]) -> LevelGrid:
    """Return a function on the grid of a field, true near its zero only, cut to where it has one.

    Elsewhere just the sign holds. The function changes by no more than the way gone, so a
    block whose centre is farther from zero than its own corner holds no surface.

    Parameters
    ----------
    value_at
        Takes (N, 3) int nodes, gives (N,) float mm.

    Raises
    ------
    MeshError
        When it has no zero on the grid.
    """
    cell = field.cell_mm
    whole = np.full(field.blocks * _BLOCKS[0] + 1, 2 * cell, dtype=np.float32)
    corners = np.stack(np.meshgrid(*map(np.arange, field.blocks), indexing="ij"), -1).reshape(-1, 3)
    corners *= _BLOCKS[0]
    for size, finer in zip(_BLOCKS, (*_BLOCKS[1:], 1), strict=True):
        at_centre = value_at(corners + size // 2)
        # A block's far sides are its neighbours' near ones, which are of the same sign.
        counts = (field.blocks * (_BLOCKS[0] // size)).tolist()
        parted = whole[:-1, :-1, :-1].reshape(counts[0], size, counts[1], size, counts[2], size)
        view = parted.transpose(0, 2, 4, 1, 3, 5)
        signs = np.where(at_centre < 0, -2 * cell, 2 * cell)
        view[tuple((corners // size).T)] = signs[:, np.newaxis, np.newaxis, np.newaxis]
        corners = corners[np.abs(at_centre) <= 0.5 * np.sqrt(3) * size * cell + 1e-3]
        steps = np.arange(0, size, finer)
        inner = np.stack(np.meshgrid(steps, steps, steps, indexing="ij"), -1).reshape(-1, 3)
        corners = (corners[:, np.newaxis] + inner).reshape(-1, 3)
    if len(corners) == 0:
        raise _nothing_left()
    # Of the finest blocks the nodes on their far sides are wanted too.
    low, high = corners.min(axis=0), corners.max(axis=0) + 2
    wanted: Bools = np.zeros(high - low, dtype=np.bool_)
    for shift in np.ndindex(2, 2, 2):
        wanted[tuple((corners - low + np.array(shift)).T)] = True
    found = value_at(np.argwhere(wanted) + low)
    # A node exactly on the level would give triangles of no size.
    found[np.abs(found) < 1e-3 * cell] = 1e-3 * cell
    values = whole[tuple(slice(a, b) for a, b in zip(low, high, strict=True))]
    values[wanted] = found
    inside = np.argwhere(values < 0)
    if len(inside) == 0 or values.max() < 0:
        raise _nothing_left()
    # Cut to what is inside and one node round it, so that the reach leaves no trace.
    first = np.maximum(inside.min(axis=0) - 1, 0)
    last = inside.max(axis=0) + 2
    cut = values[tuple(slice(a, b) for a, b in zip(first, last, strict=True))].copy()
    return cut, field.places_mm(low + first)


def _nothing_left() -> MeshError:
    return MeshError(
        "Nothing is left of the mesh at that distance.", "Choose a smaller distance inward."
    )
