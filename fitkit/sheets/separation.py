"""Pieces that overlap in a strip moved apart: guided local search with depths from tables."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from fitkit.flatten.compiled import compiled, compiled_into
from fitkit.geometry.arrays import Floats, Ints
from fitkit.sheets.clearance_grid import Singles
from fitkit.sheets.depth_tables import TABLE_ERROR

__all__ = ["StripPieces", "depths_of_all", "separate"]

# Places looked at for a piece: anywhere, and about where it lies; of these the best are refined.
_ANYWHERE, _ABOUT, _REFINED = 50, 25, 3
# Steps of the refinement as shares of the piece's narrow side: first, last; coarse, then fine.
_COARSE, _COARSE_END = 0.25, 0.02
_FINE, _FINE_END = 0.01, 0.0005
_LONGER, _SHORTER = 1.1, 0.5
_SAME_PLACE = 0.05
# Neighbours are gathered anew after so many first steps.
_REACH = 3.0
# How a pair's weight grows with its overlap, and fades without one.
_MOST_GROWTH, _LEAST_GROWTH, _FADING = 2.0, 1.2, 0.95
# Less of an overlap than this share is no progress.
_PROGRESS = 0.98
_SAME_SQUARE = 1e-9


class StripPieces(NamedTuple):
    """What does not change while pieces move; arrays for compiled loops.

    Attributes
    ----------
    table, frame, values, edges, near, near_first, gap
        As in :class:`fitkit.sheets.depth_tables.DepthTables`.
    first_turn, turns
        (N,) int: per piece its first outline in the tables, and how many there are.
    boxes
        (O, 4) float: each turned outline's box about its own origin, least and most x and y.
    narrow
        (N,) float: the narrow side of each piece's box.
    share
        (N, N) float: how much a pair's depth counts.
    """

    table: Ints
    frame: Floats
    values: Singles
    edges: Floats
    near: NDArray[np.int32]
    near_first: NDArray[np.int32]
    gap: float
    first_turn: Ints
    turns: Ints
    boxes: Floats
    narrow: Floats
    share: Floats


@compiled
def separate(
    pieces: StripPieces,
    length: float,
    width: float,
    turn: Ints,
    place: Floats,
    growth: Floats,
    patience: int,
    rng: np.random.Generator,
) -> float:
    """Move overlapping pieces one by one, round after round; weigh stubborn pairs more each time.

    Parameters
    ----------
    length, width
        Of the strip; pieces stay inside.
    turn, place
        (N,) int and (N, 2) float: how pieces lie; ends as the least overlap found.
    growth
        (N, N) float: the pairs' weights, from 1 on; kept from call to call.
    patience
        Rounds without progress after which it gives up.

    Returns
    -------
    overlap
        Depths left, 0 when all are apart.

    References
    ----------
    T. Imamichi, M. Yagiura, H. Nagamochi, *An iterated local search algorithm based on nonlinear
    programming for the irregular strip packing problem*, Discrete Optimization 6, 2009: depth of
    penetration from no-fit polygons. J. Gardeyn, G. Vanden Berghe, T. Wauters, arXiv:2509.13329,
    2025: sampling, coordinate descent and how weights grow.
    """
    count = len(turn)
    depths = depths_of_all(pieces, turn, place)
    least = 0.5 * float(depths.sum())
    best_turn, best_place = turn.copy(), place.copy()
    idle = 0
    weight = growth * pieces.share
    around = np.empty((count, 4))
    for piece in range(count):
        _put_box(around, piece, pieces.boxes[turn[piece]], place[piece])
    order = np.arange(count)
    while least > 0.0 and idle < patience:
        _shuffle(order, rng)
        for at in range(count):
            piece = int(order[at])
            cost = 0.0
            for other in range(count):
                cost += growth[piece, other] * depths[piece, other]
            if cost == 0.0:
                continue
            _move(pieces, length, width, turn, place, weight, around, piece, cost, rng)
            _put_box(around, piece, pieces.boxes[turn[piece]], place[piece])
            for other in range(count):
                if other != piece:
                    depth = _depth(
                        pieces,
                        turn[piece],
                        turn[other],
                        place[other, 0] - place[piece, 0],
                        place[other, 1] - place[piece, 1],
                    )
                    depth *= pieces.share[piece, other]
                    depths[piece, other] = depths[other, piece] = depth
        total = 0.5 * float(depths.sum())
        if total < least:
            idle = 0 if total < _PROGRESS * least else idle
            least = total
            best_turn[:], best_place[:] = turn, place
        else:
            idle += 1
        _weigh(growth, weight, depths, pieces.share)
    turn[:], place[:] = best_turn, best_place
    return least


@compiled
def depths_of_all(pieces: StripPieces, turn: Ints, place: Floats) -> Floats:
    """Return (N, N) float: how deep every two pieces overlap, times their share."""
    count = len(turn)
    depths = np.zeros((count, count))
    for a in range(count):
        for b in range(a + 1, count):
            depth = _depth(
                pieces,
                turn[a],
                turn[b],
                place[b, 0] - place[a, 0],
                place[b, 1] - place[a, 1],
            )
            depths[a, b] = depths[b, a] = depth * pieces.share[a, b]
    return depths


@compiled
def _any_of(count: int, rng: np.random.Generator) -> int:
    """Return one of so many numbers from 0 on; the generator's own takes seconds to compile."""
    return int(count * rng.random())


@compiled
def _shuffle(order: Ints, rng: np.random.Generator) -> None:
    for last in range(len(order) - 1, 0, -1):
        other = _any_of(last + 1, rng)
        order[last], order[other] = order[other], order[last]


@compiled
def _weigh(growth: Floats, weight: Floats, depths: Floats, share: Floats) -> None:
    largest = max(depths.max(), 1e-300)
    for a in range(len(depths)):
        for b in range(len(depths)):
            factor = _FADING
            if depths[a, b] > 0.0:
                more = depths[a, b] / largest
                factor = _LEAST_GROWTH + (_MOST_GROWTH - _LEAST_GROWTH) * more
            growth[a, b] = max(1.0, growth[a, b] * factor)
            weight[a, b] = growth[a, b] * share[a, b]


@compiled
def _move(
    pieces: StripPieces,
    length: float,
    width: float,
    turn: Ints,
    place: Floats,
    weight: Floats,
    around: Floats,
    piece: int,
    cost: float,
    rng: np.random.Generator,
) -> None:
    """Move a piece to where it overlaps least, as found by sampling and refining."""
    spots = np.empty((_REFINED + 1, 2))
    spot_turn = np.empty(_REFINED + 1, np.int64)
    spot_cost = np.full(_REFINED + 1, math.inf)
    spots[0], spot_turn[0], spot_cost[0] = place[piece], turn[piece], cost
    near = _SAME_PLACE * pieces.narrow[piece]
    others = np.empty(len(turn) - 1, np.int64)
    others[:piece] = np.arange(piece)
    others[piece:] = np.arange(piece + 1, len(turn))
    middle_x = 0.5 * (around[piece, 0] + around[piece, 2])
    middle_y = 0.5 * (around[piece, 1] + around[piece, 3])
    for sample in range(_ANYWHERE + _ABOUT):
        own = pieces.first_turn[piece] + _any_of(pieces.turns[piece], rng)
        box = pieces.boxes[own]
        x0, x1 = -box[0], length - box[2]
        y0, y1 = -box[1], width - box[3]
        if sample < _ABOUT:
            # Its middle stays within the box it fills now.
            dx, dy = 0.5 * (box[2] - box[0]), 0.5 * (box[3] - box[1])
            x, y = middle_x - box[0] - dx, middle_y - box[1] - dy
            x0, x1 = max(x0, min(x - dx, x1)), min(x1, max(x + dx, x0))
            y0, y1 = max(y0, min(y - dy, y1)), min(y1, max(y + dy, y0))
        x, y = x0 + (x1 - x0) * rng.random(), y0 + (y1 - y0) * rng.random()
        worst = int(np.argmax(spot_cost))
        tried = _cost(
            pieces, turn, place, weight, around, others, piece, own, x, y, spot_cost[worst]
        )
        if tried >= spot_cost[worst]:
            continue
        at = worst
        for k in range(_REFINED + 1):
            same = spot_cost[k] < math.inf and spot_turn[k] == own
            if same and abs(spots[k, 0] - x) < near and abs(spots[k, 1] - y) < near:
                at = k if tried < spot_cost[k] else -1
                break
        if at >= 0:
            spots[at, 0], spots[at, 1], spot_turn[at], spot_cost[at] = x, y, own, tried
    narrow = pieces.narrow[piece]
    for k in range(_REFINED + 1):
        if spot_cost[k] < math.inf:
            spots[k, 0], spots[k, 1], spot_cost[k] = _refined(
                pieces, length, width, turn, place, weight, around, others, piece, spot_turn[k],
                spots[k], spot_cost[k], _COARSE * narrow, _COARSE_END * narrow, rng,
            )  # fmt: skip
    k = int(np.argmin(spot_cost))
    place[piece, 0], place[piece, 1], _ = _refined(
        pieces, length, width, turn, place, weight, around, others, piece, spot_turn[k],
        spots[k], spot_cost[k], _FINE * narrow, _FINE_END * narrow, rng,
    )  # fmt: skip
    turn[piece] = spot_turn[k]


@compiled
def _refined(
    pieces: StripPieces,
    length: float,
    width: float,
    turn: Ints,
    place: Floats,
    weight: Floats,
    around: Floats,
    others: Ints,
    piece: int,
    own: int,
    start: Floats,
    cost: float,
    step: float,
    last: float,
    rng: np.random.Generator,
) -> tuple[float, float, float]:
    """Return x, y and cost of the best place downhill from a start, by steps along one line."""
    box = pieces.boxes[own]
    x, y = start[0], start[1]
    step_x = step_y = step
    reach = _REACH * step
    from_x, from_y = x, y
    near = _within_reach(around, others, box, x, y, reach + pieces.gap)
    way = _any_of(4, rng)
    while (step_x >= last or step_y >= last) and cost > 0.0:
        sx = 0.0 if way == 1 else step_x
        sy = 0.0 if way == 0 else (-step_y if way == 3 else step_y)
        if max(abs(x - from_x) + abs(sx), abs(y - from_y) + abs(sy)) > reach:
            from_x, from_y = x, y
            near = _within_reach(around, others, box, x, y, reach + pieces.gap)
        best_x, best_y, best = x, y, cost
        for sign in (1.0, -1.0):
            tx = min(max(x + sign * sx, -box[0]), length - box[2])
            ty = min(max(y + sign * sy, -box[1]), width - box[3])
            if tx == x and ty == y:
                continue
            tried = _cost(pieces, turn, place, weight, around, near, piece, own, tx, ty, best)
            if tried < best:
                best_x, best_y, best = tx, ty, tried
        better = best < cost
        x, y, cost = best_x, best_y, best
        factor = _LONGER if better else _SHORTER
        if way >= 2:
            factor = math.sqrt(factor)
        if way != 1:
            step_x *= factor
        if way != 0:
            step_y *= factor
        if not better:
            way = _any_of(4, rng)
    return x, y, cost


@compiled
def _within_reach(
    around: Floats, others: Ints, box: Floats, x: float, y: float, reach: float
) -> Ints:
    """Return those of the others whose boxes a piece at x, y can come to meet."""
    found = np.empty(len(others), np.int64)
    count = 0
    for other in others:
        if (
            around[other, 0] < x + box[2] + reach
            and around[other, 2] > x + box[0] - reach
            and around[other, 1] < y + box[3] + reach
            and around[other, 3] > y + box[1] - reach
        ):
            found[count] = other
            count += 1
    return found[:count]


@compiled
def _cost(
    pieces: StripPieces,
    turn: Ints,
    place: Floats,
    weight: Floats,
    around: Floats,
    others: Ints,
    piece: int,
    own: int,
    x: float,
    y: float,
    bound: float,
) -> float:
    """Return the weighted depths of a piece put somewhere; inf once they pass the bound."""
    total = 0.0
    box = pieces.boxes[own]
    left, right = x + box[0] - pieces.gap, x + box[2] + pieces.gap
    low, high = y + box[1] - pieces.gap, y + box[3] + pieces.gap
    for other in others:
        if (
            around[other, 0] >= right
            or around[other, 2] <= left
            or around[other, 1] >= high
            or around[other, 3] <= low
        ):
            continue
        depth = _depth(pieces, own, turn[other], place[other, 0] - x, place[other, 1] - y)
        if depth > 0.0:
            total += weight[piece, other] * depth
            if total >= bound:
                return math.inf
    return total


@compiled_into
def _depth(pieces: StripPieces, one: int, other: int, dx: float, dy: float) -> float:
    """Return how deep two outlines overlap, ``other`` shifted by dx, dy against ``one``."""
    if one > other:
        one, other, dx, dy = other, one, -dx, -dy
    frame = pieces.frame[pieces.table[one, other]]
    per = frame[2]
    u, v = (dx - frame[0]) * per, (dy - frame[1]) * per
    columns = int(frame[3])
    if u < 0.0 or v < 0.0 or u >= columns - 1 or v >= frame[4] - 1.0:
        return 0.0
    i, j = int(u), int(v)
    u, v = u - i, v - j
    values = pieces.values
    node = int(frame[5]) + j * columns + i
    below = (1.0 - u) * values[node] + u * values[node + 1]
    above = (1.0 - u) * values[node + columns] + u * values[node + columns + 1]
    clear = (1.0 - v) * below + v * above
    unsure = TABLE_ERROR / per
    if clear >= unsure:
        return 0.0
    if clear > -unsure:
        first, last = pieces.near_first[node], pieces.near_first[node + 1]
        if last > first:
            clear = _rim_clearance(pieces.edges, pieces.near[first:last], dx, dy) - pieces.gap
    return max(0.0, -float(clear))


@compiled_into
def _rim_clearance(edges: Floats, near: NDArray[np.int32], x: float, y: float) -> float:
    """Return the signed distance to the nearest of some edges of a rim, negative on their left."""
    best = math.inf
    side = 0.0
    for e in near:
        ax, ay = edges[e, 0], edges[e, 1]
        dx, dy = edges[e, 2] - ax, edges[e, 3] - ay
        gx, gy = x - ax, y - ay
        square = dx * dx + dy * dy
        along = gx * dx + gy * dy
        across = (gx * dy - gy * dx) / math.sqrt(square)
        if along <= 0.0:
            apart = gx * gx + gy * gy
        elif along >= square:
            apart = (gx - dx) * (gx - dx) + (gy - dy) * (gy - dy)
        else:
            apart = across * across
        # At a corner both edges are as near; the one seen more squarely tells the side.
        if apart < best * (1.0 - _SAME_SQUARE) or (
            apart < best * (1.0 + _SAME_SQUARE) and abs(across) > abs(side)
        ):
            side = across
        best = min(best, apart)
    return math.copysign(math.sqrt(best), side)


@compiled
def _put_box(around: Floats, piece: int, box: Floats, place: Floats) -> None:
    for k in range(4):
        around[piece, k] = box[k] + place[k % 2]
