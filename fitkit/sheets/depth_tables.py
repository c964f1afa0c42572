"""How deep two outlines overlap, for any shift between them: looked up, not computed."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.affinity import rotate

from fitkit.geometry.arrays import Floats, Ints
from fitkit.sheets.clearance_grid import Singles, edges_of, fill_clearance
from fitkit.sheets.no_fit_polygon import convex_pieces, no_fit_polygon

__all__ = ["DepthTables", "depth_tables"]

# Nodes along a table's longer side; near the rim depths are computed from the edges themselves.
_NODES = 64


@dataclass(frozen=True, slots=True, eq=False)
class DepthTables:
    """Clearances between outlines by their shift, for every two of them.

    Attributes
    ----------
    table
        (O, O) int: the table of outlines a and b, a <= b; the shift is b's place less a's.
    frame
        (T, 8) float: x and y of the first node, nodes per unit, columns, rows, where the values
        start, where the edges start and end.
    values
        Signed distance to the rim less the gap asked, negative where they overlap; row by row.
    edges
        (E, 4) float: both ends' x and y of the rims' edges.
    gap
        Least distance asked for.
    """

    table: Ints
    frame: Floats
    values: Singles
    edges: Floats
    gap: float


def depth_tables(
    outlines: Sequence[Floats], turns_rad: Sequence[Sequence[float]], gap: float
) -> DepthTables:
    """Return the tables of every outline in every turn; outlines are numbered turn by turn."""
    pieces = [convex_pieces(outline) for outline in outlines]
    kinds = [(kind, turn) for kind, turns in enumerate(turns_rad) for turn in turns]
    known: dict[tuple[int, int, int], shapely.Geometry] = {}
    table = np.zeros((len(kinds), len(kinds)), dtype=np.int64)
    frames: list[list[float]] = []
    values: list[Singles] = []
    edges: list[Floats] = []
    value_count = edge_count = 0
    for a, (first, turn) in enumerate(kinds):
        for b in range(a, len(kinds)):
            second, other_turn = kinds[b]
            # Turning both turns the area with them.
            between = round(1e6 * math.remainder(other_turn - turn, 2.0 * math.pi))
            key = (first, second, between)
            if key not in known:
                moving = [_turned(piece, other_turn - turn) for piece in pieces[second]]
                known[key] = no_fit_polygon(pieces[first], moving)
            rim = edges_of(rotate(known[key], turn, origin=(0.0, 0.0), use_radians=True))
            x0, x1 = rim[:, [0, 2]].min() - gap, rim[:, [0, 2]].max() + gap
            y0, y1 = rim[:, [1, 3]].min() - gap, rim[:, [1, 3]].max() + gap
            cell = max(x1 - x0, y1 - y0) / (_NODES - 3)
            shape = (math.ceil((y1 - y0) / cell) + 3, math.ceil((x1 - x0) / cell) + 3)
            grid = np.full(shape, np.inf, dtype=np.float32)
            shifted = rim - np.array([x0 - cell, y0 - cell] * 2)
            fill_clearance(grid, 0, 0, cell, shifted, gap, math.hypot(x1 - x0, y1 - y0), False)
            table[a, b] = len(frames)
            frames.append(
                [
                    x0 - cell,
                    y0 - cell,
                    1.0 / cell,
                    shape[1],
                    shape[0],
                    value_count,
                    edge_count,
                    edge_count + len(rim),
                ]
            )
            values.append(grid.ravel())
            edges.append(rim)
            value_count += grid.size
            edge_count += len(rim)
    return DepthTables(
        table, np.array(frames), np.concatenate(values), np.concatenate(edges), float(gap)
    )


def _turned(points: Floats, turn_rad: float) -> Floats:
    c, s = math.cos(turn_rad), math.sin(turn_rad)
    turned: Floats = points @ np.array([[c, s], [-s, c]])
    return turned
