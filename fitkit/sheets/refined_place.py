"""A place for a piece of a strip refined by steps downhill, and what loops over places share."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from fitkit.geometry.arrays import Floats, Ints
from fitkit.geometry.compiled import compiled
from fitkit.sheets.clearance_grid import Singles
from fitkit.sheets.pair_depths import cost_of_place
from fitkit.sheets.strip_pieces import StripPieces

__all__ = ["CLOSE", "COST", "SPOT", "TURN", "any_of", "refine_place", "take_close", "take_over"]

SPOT, TURN, COST = 4, 2, 3
"""Of a place for a piece: how many numbers; x and y come first, then which are turn and cost."""
CLOSE = -1
"""The list of those close, after those by slices."""

# How steps grow after gain and shrink after none.
_LONGER, _SHORTER = 1.1, 0.5
# Whom a piece can come to meet within so many steps is gathered, anew when steps have shrunk so
# that it would be more of them.
_REACH, _TOO_FAR = 3.0, 6.0


@compiled
def refine_place(
    pieces: StripPieces,
    length: float,
    width: float,
    rows: Floats,
    meets: NDArray[np.int32],
    first: int,
    spots: Floats,
    at: int,
    step: float,
    last: float,
    exact: bool,
    rng: np.random.Generator,
) -> None:
    """Move a spot downhill by steps along one line, up to the best place near it.

    Depths are worked out from the rims' edges where ``exact``, else only looked up.
    """
    values, near_first = pieces.values, pieces.near_first
    near_edges, rims = pieces.near, pieces.rims
    gap = pieces.gap
    own = int(spots[at, TURN])
    x, y = spots[at, 0], spots[at, 1]
    least_x, most_x = -pieces.boxes[first + own, 0], length - pieces.boxes[first + own, 2]
    least_y, most_y = -pieces.boxes[first + own, 1], width - pieces.boxes[first + own, 3]
    step_x = step_y = step
    from_x, from_y, reach = x, y, _REACH * step
    count = take_close(values, rows, own, meets, x, y, reach)
    cost = cost_of_place(
        values, near_first, near_edges, rims, gap, rows, own, meets, CLOSE, count, x, y,
        math.inf, exact,
    )  # fmt: skip
    way = any_of(4, rng)
    went = only = 0.0
    while (step_x >= last or step_y >= last) and cost > 0.0:
        sx = 0.0 if way == 1 else step_x
        sy = 0.0 if way == 0 else (-step_y if way == 3 else step_y)
        far = max(abs(sx), abs(sy))
        gone = max(abs(x - from_x), abs(y - from_y))
        if gone + far > reach or reach > _TOO_FAR * far:
            from_x, from_y, reach = x, y, _REACH * far
            count = take_close(values, rows, own, meets, x, y, reach)
        best_x, best_y, best = x, y, cost
        for sign in (1.0, -1.0):
            tx = min(max(x + sign * sx, least_x), most_x)
            ty = min(max(y + sign * sy, least_y), most_y)
            if sign == -only or (tx == x and ty == y):
                continue
            tried = cost_of_place(
                values, near_first, near_edges, rims, gap, rows, own, meets, CLOSE, count, tx,
                ty, best, exact,
            )  # fmt: skip
            if tried < best:
                best_x, best_y, best = tx, ty, tried
                went = sign
        better = best < cost
        x, y, cost = best_x, best_y, best
        factor = _LONGER if better else _SHORTER
        if way >= 2:
            factor = math.sqrt(factor)
        if way != 1:
            step_x *= factor
        if way != 0:
            step_y *= factor
        # Where it came from is known to be worse.
        only = went if better else 0.0
        if not better:
            way = 1 if step_x < last else 0 if step_y < last else any_of(4, rng)
    spots[at, 0], spots[at, 1], spots[at, COST] = x, y, cost


@compiled
def take_close(
    values: Singles,
    rows: Floats,
    own: int,
    meets: NDArray[np.int32],
    x: float,
    y: float,
    reach: float,
) -> int:
    """List whom a piece at x, y can come to meet within reach; return how many."""
    count = 0
    row = np.uint64(own)
    for k in range(rows.shape[1]):
        other = np.uint64(k)
        per = rows[row, other, 1]
        u, v = rows[row, other, 0] + per * x, rows[row, other, 2] + per * y
        cells = abs(per) * reach
        last_column, last_row = rows[row, other, 3], rows[row, other, 4]
        beyond = max(-u, u - last_column, -v, v - last_row)
        if (beyond > cells) | (last_column == 0.0):
            continue
        if beyond < 0.0:
            # A clearance changes no faster than a piece moves.
            node = int(rows[row, other, 5]) + int(v) * (int(last_column) + 1) + int(u)
            if values[np.uint64(node)] > 1.42 * cells + 1.42:
                continue
        meets[CLOSE, count] = other
        count += 1
    return count


@compiled
def take_over(turn: Ints, place: Floats, kept_turn: Ints, kept_place: Floats) -> None:
    """Copy how pieces lie; whole arrays handed over take seconds to compile."""
    for piece in range(len(turn)):
        kept_turn[piece] = turn[piece]
        kept_place[piece, 0], kept_place[piece, 1] = place[piece, 0], place[piece, 1]


@compiled
def any_of(count: int, rng: np.random.Generator) -> int:
    """Return one of so many numbers from 0 on; the generator's own takes seconds to compile."""
    return int(count * rng.random())
