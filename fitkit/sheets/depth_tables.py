"""How deep two outlines overlap, for any shift between them: looked up, not computed."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.affinity import rotate

from fitkit.geometry.arrays import Floats, Ints
from fitkit.geometry.compiled import compiled
from fitkit.sheets.clearance_grid import Singles, edges_of, fill_clearance
from fitkit.sheets.no_fit_polygon import convex_pieces, no_fit_polygon

__all__ = ["TABLE_ERROR", "DepthTables", "depth_tables"]

TABLE_ERROR = 0.71
"""What is interpolated in a table is off by no more than this many cells."""

# Nodes along a table's longer side; near the rim depths are computed from the edges themselves.
_NODES = 48
# So many parts of a cell's side are looked at to tell whether one edge is the nearest to all of it.
_PARTS = 4


class DepthTables(NamedTuple):
    """Clearances between outlines by their shift, for every two of them.

    Attributes
    ----------
    table, way
        (O, O) int and (O, O) float: for outlines a and b their table, and 1 where it is for b's
        place less a's, -1 for a's less b's.
    frame
        (T, 6) float: x and y of the first node, nodes per unit, columns, rows, where the values
        start.
    values
        (V,) float: signed distance to the rim less the gap asked in cells, negative where they
        overlap; row by row, table by table.
    rims
        (E, 5) float: the rims' edges, the area on their left: start, direction and length, in
        cells from the first node.
    near, near_first
        Which edges can be nearest to a place of the cell above and right of a node, where it lies
        near the rim: ``near[near_first[v]:near_first[v + 1]]``.
    gap
        Least distance asked for.
    """

    table: Ints
    way: Floats
    frame: Floats
    values: Singles
    rims: Floats
    near: NDArray[np.int32]
    near_first: NDArray[np.int32]
    gap: float


def depth_tables(
    outlines: Sequence[Floats], turns_rad: Sequence[Sequence[float]], gap: float
) -> DepthTables:
    """Return the tables of every outline in every turn; outlines are numbered turn by turn."""
    pieces = [convex_pieces(outline) for outline in outlines]
    kinds = [(kind, turn) for kind, turns in enumerate(turns_rad) for turn in turns]
    known: dict[tuple[int, int, int], shapely.Geometry] = {}
    made: dict[tuple[int, int, int, int], int] = {}
    table = np.zeros((len(kinds), len(kinds)), dtype=np.int64)
    way = np.ones((len(kinds), len(kinds)))
    frames: list[list[float]] = []
    values: list[Singles] = []
    rims: list[Floats] = []
    near: list[Ints] = []
    counts: list[Ints] = []
    value_count = edge_count = 0
    for a, (first, turn) in enumerate(kinds):
        for b in range(a, len(kinds)):
            second, other_turn = kinds[b]
            # Turning both turns the area with them.
            between = _angle(other_turn - turn)
            key = (first, second, between)
            half = made.get((*key, _angle(turn + math.pi)))
            made[(*key, _angle(turn))] = len(frames) if half is None else half
            way[b, a], way[a, b] = -1.0, 1.0
            if half is not None:
                # Turning both by half a turn turns the table's shifts around.
                table[a, b] = table[b, a] = half
                way[b, a], way[a, b] = 1.0, -1.0
                continue
            if key not in known:
                moving = [_turned(piece, other_turn - turn) for piece in pieces[second]]
                known[key] = no_fit_polygon(pieces[first], moving)
            rim = edges_of(rotate(known[key], turn, origin=(0.0, 0.0), use_radians=True))
            low = np.minimum(rim[:, :2], rim[:, 2:]).min(axis=0) - gap
            high = np.maximum(rim[:, :2], rim[:, 2:]).max(axis=0) + gap
            cell = float((high - low).max()) / (_NODES - 3)
            columns, rows = (math.ceil(side / cell) + 3 for side in high - low)
            start = low - cell
            grid = np.full((rows, columns), np.inf, dtype=np.float32)
            shifted = (rim - np.tile(start, 2)) / cell
            fill_clearance(grid, 0, 0, 1.0, shifted, gap / cell, 2.0 * _NODES, False)
            own, own_counts = _near_edges(grid, shifted, gap / cell)
            table[a, b] = table[b, a] = len(frames)
            frames.append([*start, 1.0 / cell, columns, rows, value_count])
            values.append(grid.ravel())
            ways = shifted[:, 2:] - shifted[:, :2]
            long = np.hypot(*ways.T)[:, None]
            rims.append(np.hstack([shifted[:, :2], ways / long, long]))
            near.append(own + edge_count)
            counts.append(own_counts)
            value_count += grid.size
            edge_count += len(rim)
    return DepthTables(
        table,
        way,
        np.array(frames),
        np.concatenate(values),
        np.concatenate(rims),
        np.concatenate(near).astype(np.int32),
        np.concatenate([[0], np.cumsum(np.concatenate(counts))]).astype(np.int32),
        float(gap),
    )


def _angle(turn_rad: float) -> int:
    """Return an angle from 0 on, below a full turn, in ten thousandths of a degree."""
    return round(1e4 * math.degrees(turn_rad)) % 3_600_000


@compiled
def _near_edges(grid: Singles, edges: Floats, gap: float) -> tuple[Ints, Ints]:
    """Return edges that may be nearest to a cell's places, and how many they are by cell."""
    rows, columns = grid.shape
    counts = np.zeros(rows * columns, np.int64)
    found = np.empty(rows * columns * 4, np.int64)
    count = 0
    for j in range(rows - 1):
        for i in range(columns - 1):
            # A place's own clearance is off what the nodes tell by less than a cell.
            if abs(grid[j, i]) > 2.5:
                continue
            reach = gap + 2.0 * TABLE_ERROR + 0.71
            first = count
            for e in range(len(edges)):
                if _apart(edges[e], i + 0.5, j + 0.5) > reach:
                    continue
                if count == len(found):
                    found = np.concatenate((found, np.empty(count, np.int64)))
                found[count] = e
                count += 1
            only = _nearest_of_all(edges, found[first:count], i, j)
            if only >= 0:
                found[first] = only
                count = first + 1
            counts[j * columns + i] = count - first
    return found[:count].copy(), counts


@compiled
def _nearest_of_all(edges: Floats, near: Ints, i: int, j: int) -> int:
    """Return the edge whose inside is the nearest to all of a cell, -1 when there is none.

    Distances to two edges draw level by no more than twice the way to a part's middle.
    """
    nearest = -1
    for b in range(_PARTS):
        for a in range(_PARTS):
            x, y = i + (a + 0.5) / _PARTS, j + (b + 0.5) / _PARTS
            best, at = math.inf, -1
            for e in near:
                apart = _apart(edges[e], x, y)
                if apart < best:
                    best, at = apart, e
            if nearest < 0:
                nearest = at
            if best == math.inf or at != nearest:
                return -1
            for e in near:
                if e != nearest and _apart(edges[e], x, y) < best + 1.42 / _PARTS:
                    return -1
            dx, dy = edges[at, 2] - edges[at, 0], edges[at, 3] - edges[at, 1]
            long = math.hypot(dx, dy)
            along = ((x - edges[at, 0]) * dx + (y - edges[at, 1]) * dy) / long
            if along < 0.71 / _PARTS or along > long - 0.71 / _PARTS:
                return -1
    return nearest


@compiled
def _apart(edge: Floats, x: float, y: float) -> float:
    """Return how far a place is from an edge."""
    dx, dy = edge[2] - edge[0], edge[3] - edge[1]
    t = ((x - edge[0]) * dx + (y - edge[1]) * dy) / (dx * dx + dy * dy)
    t = min(1.0, max(0.0, t))
    return math.hypot(edge[0] + t * dx - x, edge[1] + t * dy - y)


def _turned(points: Floats, turn_rad: float) -> Floats:
    c, s = math.cos(turn_rad), math.sin(turn_rad)
    turned: Floats = points @ np.array([[c, s], [-s, c]])
    return turned
