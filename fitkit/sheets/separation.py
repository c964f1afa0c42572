"""Pieces that overlap in a strip moved apart: guided local search with depths from tables."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from fitkit.geometry.arrays import Floats, Ints
from fitkit.geometry.compiled import compiled, compiled_into
from fitkit.sheets.clearance_grid import Singles
from fitkit.sheets.depth_tables import TABLE_ERROR

__all__ = ["StripPieces", "depths_of_all", "separate"]

# Of the places looked at for a piece the best are refined.
_REFINED = 2
# Steps of the refinement as shares of the piece's narrow side: first, last; coarse, then fine.
_COARSE, _COARSE_END = 0.25, 0.02
_FINE, _FINE_END = 0.01, 0.0005
_LONGER, _SHORTER = 1.1, 0.5
_SAME_PLACE = 0.05
# Whom a piece can come to meet within so many steps is gathered, anew when steps have shrunk so
# that it would be more of them.
_REACH, _TOO_FAR = 3.0, 6.0
# The list of those close, after those by slices.
_CLOSE = -1
# How a pair's weight grows with its overlap, and fades without one.
_MOST_GROWTH, _LEAST_GROWTH, _FADING = 2.0, 1.2, 0.95
# Less of an overlap than this share is no progress.
_PROGRESS = 0.98
_SAME_SQUARE = 1e-9
# So many cells deep is rounding: pieces may fit exactly.
_HAIR = 1e-9
# Slices of the strip, for each of which is told whom a piece in it can meet.
_BINS = 16
# Of what is known of a piece and one other: how many numbers; which is their weight.
_ROW, _WEIGHT = 7, 6
# Of a place for a piece: x, y, turn and cost.
_SPOT, _TURN, _COST = 4, 2, 3


class StripPieces(NamedTuple):
    """What does not change while pieces move; arrays for compiled loops.

    Attributes
    ----------
    table, way, frame, values, rims, near, near_first, gap
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
    way: Floats
    frame: Floats
    values: Singles
    rims: Floats
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
    samples: int,
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
    samples
        Places looked at for a piece: anywhere, and half as many about where it lies.

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
    rows = np.empty((pieces.turns.max(), count, _ROW))
    meets = np.empty((pieces.turns.max() * _BINS + 1, count), np.int32)
    meet_count = np.empty(len(meets), np.int64)
    spots = np.empty((_REFINED + 1, _SPOT))
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
            _move(
                pieces, length, width, turn, place, growth, rows, meets, meet_count, spots,
                piece, cost, samples, rng,
            )  # fmt: skip
            own = turn[piece] - pieces.first_turn[piece]
            x, y = place[piece, 0], place[piece, 1]
            _take_depths(pieces, rows, own, meets, x, y, growth, depths, piece)
        total = 0.5 * float(depths.sum())
        if total < least:
            idle = 0 if total < _PROGRESS * least else idle
            least = total
            best_turn[:], best_place[:] = turn, place
        else:
            idle += 1
        _weigh(growth, depths)
    turn[:], place[:] = best_turn, best_place
    return least


@compiled
def depths_of_all(pieces: StripPieces, turn: Ints, place: Floats) -> Floats:
    """Return (N, N) float: how deep every two pieces overlap, times their share."""
    count = len(turn)
    depths = np.zeros((count, count))
    growth = np.ones((count, count))
    rows, own = np.empty((1, count, _ROW)), np.empty((1, 1), np.int32)
    for piece in range(count):
        _fill_rows(pieces, turn, place, growth, piece, turn[piece], rows, 0)
        x, y = place[piece, 0], place[piece, 1]
        _take_depths(pieces, rows, 0, own, x, y, growth, depths, piece)
    return depths


@compiled
def _take_depths(
    pieces: StripPieces,
    rows: Floats,
    own: int,
    meets: NDArray[np.int32],
    x: float,
    y: float,
    growth: Floats,
    depths: Floats,
    piece: int,
) -> None:
    for other in range(rows.shape[1]):
        if other == piece:
            continue
        meets[_CLOSE, 0] = other
        cost = _cost(
            pieces.values, pieces.near_first, pieces.near, pieces.rims, pieces.gap, rows, own,
            meets, _CLOSE, 1, x, y, math.inf, True,
        )  # fmt: skip
        depths[piece, other] = depths[other, piece] = cost / growth[piece, other]


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
def _weigh(growth: Floats, depths: Floats) -> None:
    largest = max(depths.max(), 1e-300)
    for a in range(len(depths)):
        for b in range(len(depths)):
            factor = _FADING
            if depths[a, b] > 0.0:
                more = depths[a, b] / largest
                factor = _LEAST_GROWTH + (_MOST_GROWTH - _LEAST_GROWTH) * more
            growth[a, b] = max(1.0, growth[a, b] * factor)


@compiled
def _fill_rows(
    pieces: StripPieces,
    turn: Ints,
    place: Floats,
    growth: Floats,
    piece: int,
    own: int,
    rows: Floats,
    at: int,
) -> None:
    """Fill one row per other piece: where in their table this one in a turn lies, by its place.

    At x, y it lies at column ``row[0] + row[1] * x`` and row ``row[2] + row[1] * y``.
    """
    table, frame, share = pieces.table, pieces.frame, pieces.share
    for other in range(len(turn)):
        its = turn[other]
        k = table[own, its]
        per = frame[k, 2]
        way = -per * pieces.way[own, its]
        rows[at, other, 0] = -way * place[other, 0] - frame[k, 0] * per
        rows[at, other, 1] = way
        rows[at, other, 2] = -way * place[other, 1] - frame[k, 1] * per
        # A piece does not meet itself.
        rows[at, other, 3] = frame[k, 3] - 1.0 if other != piece else 0.0
        rows[at, other, 4] = frame[k, 4] - 1.0
        rows[at, other, 5] = frame[k, 5]
        rows[at, other, _WEIGHT] = growth[piece, other] * share[piece, other] / per


@compiled
def _move(
    pieces: StripPieces,
    length: float,
    width: float,
    turn: Ints,
    place: Floats,
    growth: Floats,
    rows: Floats,
    meets: NDArray[np.int32],
    meet_count: Ints,
    spots: Floats,
    piece: int,
    cost: float,
    samples: int,
    rng: np.random.Generator,
) -> None:
    """Move a piece to where it overlaps least, as found by sampling and refining.

    ``rows`` is left filled for its turns.
    """
    first, turns = pieces.first_turn[piece], pieces.turns[piece]
    boxes, narrow = pieces.boxes, pieces.narrow[piece]
    values, near_first = pieces.values, pieces.near_first
    near_edges, rims = pieces.near, pieces.rims
    gap = pieces.gap
    now = turn[piece]
    for own in range(turns):
        _fill_rows(pieces, turn, place, growth, piece, first + own, rows, own)
        least_x, most_x = -boxes[first + own, 0], length - boxes[first + own, 2]
        _fill_bins(rows, own, least_x, most_x, meets, meet_count)
    spots[:, _COST] = math.inf
    spots[0, 0], spots[0, 1] = place[piece, 0], place[piece, 1]
    spots[0, _TURN], spots[0, _COST] = now - first, cost
    near = _SAME_PLACE * narrow
    middle_x = place[piece, 0] + 0.5 * (boxes[now, 0] + boxes[now, 2])
    middle_y = place[piece, 1] + 0.5 * (boxes[now, 1] + boxes[now, 3])
    worst = 1
    about = samples // 2
    for sample in range(samples + about):
        own = _any_of(turns, rng)
        left, low, right, high = (
            boxes[first + own, 0],
            boxes[first + own, 1],
            boxes[first + own, 2],
            boxes[first + own, 3],
        )
        x0, x1, y0, y1 = -left, length - right, -low, width - high
        if sample < about:
            # Its middle stays within the box it fills now.
            dx, dy = 0.5 * (right - left), 0.5 * (high - low)
            x, y = middle_x - left - dx, middle_y - low - dy
            x0, x1 = max(x0, min(x - dx, x1)), min(x1, max(x + dx, x0))
            y0, y1 = max(y0, min(y - dy, y1)), min(y1, max(y + dy, y0))
        x, y = x0 + (x1 - x0) * rng.random(), y0 + (y1 - y0) * rng.random()
        slice_ = own * _BINS + _bin_of(x, -left, length - right)
        tried = _cost(
            values,
            near_first,
            near_edges,
            rims,
            gap,
            rows,
            own,
            meets,
            slice_,
            meet_count[slice_],
            x,
            y,
            spots[worst, _COST],
            False,
        )
        if tried >= spots[worst, _COST]:
            continue
        at = worst
        for k in range(_REFINED + 1):
            same = spots[k, _COST] < math.inf and spots[k, _TURN] == own
            if same and abs(spots[k, 0] - x) < near and abs(spots[k, 1] - y) < near:
                at = k if tried < spots[k, _COST] else -1
                break
        if at >= 0:
            spots[at, 0], spots[at, 1], spots[at, _TURN], spots[at, _COST] = x, y, own, tried
            for k in range(_REFINED + 1):
                worst = k if spots[k, _COST] > spots[worst, _COST] else worst
    # Others are compared by what is looked up; the best of them and where it lies exactly.
    best = 0
    for k in range(1, _REFINED + 1):
        if spots[k, _COST] < math.inf:
            _refine(
                pieces, length, width, rows, meets, first, spots, k,
                _COARSE * narrow, _COARSE_END * narrow, False, rng,
            )  # fmt: skip
            best = k if best == 0 or spots[k, _COST] < spots[best, _COST] else best
    _refine(
        pieces, length, width, rows, meets, first, spots, 0,
        _COARSE * narrow, _COARSE_END * narrow, True, rng,
    )  # fmt: skip
    for k in (0, best):
        _refine(
            pieces, length, width, rows, meets, first, spots, k,
            _FINE * narrow, _FINE_END * narrow, True, rng,
        )  # fmt: skip
        if spots[k, _COST] < cost:
            cost = spots[k, _COST]
            place[piece, 0], place[piece, 1] = spots[k, 0], spots[k, 1]
            turn[piece] = first + int(spots[k, _TURN])


@compiled
def _refine(
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
    own = int(spots[at, _TURN])
    x, y = spots[at, 0], spots[at, 1]
    least_x, most_x = -pieces.boxes[first + own, 0], length - pieces.boxes[first + own, 2]
    least_y, most_y = -pieces.boxes[first + own, 1], width - pieces.boxes[first + own, 3]
    step_x = step_y = step
    from_x, from_y, reach = x, y, _REACH * step
    count = _take_close(values, rows, own, meets, x, y, reach)
    cost = _cost(
        values, near_first, near_edges, rims, gap, rows, own, meets, _CLOSE, count, x, y,
        math.inf, exact,
    )  # fmt: skip
    way = _any_of(4, rng)
    went = only = 0.0
    while (step_x >= last or step_y >= last) and cost > 0.0:
        sx = 0.0 if way == 1 else step_x
        sy = 0.0 if way == 0 else (-step_y if way == 3 else step_y)
        far = max(abs(sx), abs(sy))
        gone = max(abs(x - from_x), abs(y - from_y))
        if gone + far > reach or reach > _TOO_FAR * far:
            from_x, from_y, reach = x, y, _REACH * far
            count = _take_close(values, rows, own, meets, x, y, reach)
        best_x, best_y, best = x, y, cost
        for sign in (1.0, -1.0):
            tx = min(max(x + sign * sx, least_x), most_x)
            ty = min(max(y + sign * sy, least_y), most_y)
            if sign == -only or (tx == x and ty == y):
                continue
            tried = _cost(
                values, near_first, near_edges, rims, gap, rows, own, meets, _CLOSE, count, tx,
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
            way = 1 if step_x < last else 0 if step_y < last else _any_of(4, rng)
    spots[at, 0], spots[at, 1], spots[at, _COST] = x, y, cost


@compiled
def _take_close(
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
        meets[_CLOSE, count] = other
        count += 1
    return count


@compiled_into
def _bin_of(x: float, least_x: float, most_x: float) -> int:
    return min(_BINS - 1, max(0, int((x - least_x) * _BINS / max(most_x - least_x, 1e-300))))


@compiled
def _fill_bins(
    rows: Floats,
    own: int,
    least_x: float,
    most_x: float,
    meets: NDArray[np.int32],
    meet_count: Ints,
) -> None:
    """List for each slice of the strip whom a piece placed in it can meet."""
    first = own * _BINS
    meet_count[first : first + _BINS] = 0
    per_x = _BINS / max(most_x - least_x, 1e-300)
    for other in range(rows.shape[1]):
        columns = rows[own, other, 3]
        if columns <= 0.0:
            continue
        cell = 1.0 / rows[own, other, 1]
        one = (-rows[own, other, 0] * cell - least_x) * per_x
        end = one + columns * cell * per_x
        low, high = min(one, end), max(one, end)
        if (high < 0.0) | (low > _BINS):
            continue
        for k in range(max(0, int(low)), min(_BINS - 1, int(high)) + 1):
            meets[first + k, meet_count[first + k]] = other
            meet_count[first + k] += 1


@compiled_into
def _cost(
    values: Singles,
    near_first: NDArray[np.int32],
    near_edges: NDArray[np.int32],
    rims: Floats,
    gap: float,
    rows: Floats,
    own: int,
    meets: NDArray[np.int32],
    listed: int,
    count: int,
    x: float,
    y: float,
    bound: float,
    exact: bool,
) -> float:
    """Return the weighted depths of a piece put somewhere, cut short once they pass the bound.

    One loop with one way out: each call of another function, and each way out, would count the
    arrays' users up and down, which takes longer than the look-up itself.
    """
    total = 0.0
    k = 0
    row = np.uint64(own)
    while k < count and total < bound:
        # Numbers without a sign are not looked at for one below zero.
        other = np.uint64(meets[listed, k])
        k += 1
        per, last_column = rows[row, other, 1], rows[row, other, 3]
        u, v = rows[row, other, 0] + per * x, rows[row, other, 2] + per * y
        # One branch that is foreseen, not four that are not.
        if (u < 0.0) | (v < 0.0) | (u >= last_column) | (v >= rows[row, other, 4]):
            continue
        i, j = int(u), int(v)
        fu, fv = u - i, v - j
        columns = int(last_column) + 1
        node = int(rows[row, other, 5]) + j * columns + i
        v00, v01 = values[np.uint64(node)], values[np.uint64(node + 1)]
        v10, v11 = values[np.uint64(node + columns)], values[np.uint64(node + columns + 1)]
        below, above = v00 + fu * (v01 - v00), v10 + fu * (v11 - v10)
        clear = below + fv * (above - below)
        if exact and abs(clear) < TABLE_ERROR and near_first[node + 1] > near_first[node]:
            # The signed distance to the nearest edge of the rim, negative on its left.
            best = math.inf
            side = 0.0
            for n in range(near_first[node], near_first[node + 1]):
                e = near_edges[n]
                ux, uy = rims[e, 2], rims[e, 3]
                gx, gy = u - rims[e, 0], v - rims[e, 1]
                along = gx * ux + gy * uy
                across = gx * uy - gy * ux
                beyond = max(0.0, -along, along - rims[e, 4])
                apart = across * across + beyond * beyond
                # At a corner both edges are as near; the one seen more squarely tells the side.
                if apart < best * (1.0 - _SAME_SQUARE) or (
                    apart < best * (1.0 + _SAME_SQUARE) and abs(across) > abs(side)
                ):
                    side = across
                best = min(best, apart)
            clear = math.copysign(math.sqrt(best), side) - gap * abs(per)
        total -= rows[row, other, _WEIGHT] * clear if clear < -_HAIR else 0.0
    return total
