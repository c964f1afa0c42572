"""Pieces that overlap in a strip moved apart: guided local search with depths from tables."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from fitkit.geometry.arrays import Floats, Ints
from fitkit.geometry.compiled import compiled, compiled_into
from fitkit.sheets.joint_slide import slid_apart
from fitkit.sheets.pair_depths import (
    ROW,
    cost_of_place,
    depths_of_all,
    fill_rows,
    take_depths,
)
from fitkit.sheets.refined_place import (
    COST,
    SPOT,
    TURN,
    any_of,
    refine_place,
    take_over,
)
from fitkit.sheets.strip_pieces import StripPieces

__all__ = ["separate"]

# Of the places looked at for a piece the best are refined.
_REFINED = 2
# Steps of the refinement as shares of the piece's narrow side: first, last; coarse, then fine.
_COARSE, _COARSE_END = 0.25, 0.02
_FINE, _FINE_END = 0.01, 0.0005
_SAME_PLACE = 0.05
# How a pair's weight grows with its overlap, and fades without one.
_MOST_GROWTH, _LEAST_GROWTH, _FADING = 2.0, 1.2, 0.95
# Less of an overlap than this share is no progress.
_PROGRESS = 0.98
# With no more overlap than so many times the least met, all pieces are slid at once.
_NEARLY_APART = 1.5
# Slices of the strip, for each of which is told whom a piece in it can meet.
_BINS = 16


@compiled
def separate(
    pieces: StripPieces,
    length: float,
    loose: float,
    width: float,
    turn: Ints,
    place: Floats,
    growth: Floats,
    patience: int,
    samples: int,
    rng: np.random.Generator,
) -> tuple[float, float]:
    """Move overlapping pieces one by one, round after round; weigh stubborn pairs more each time.

    Parameters
    ----------
    length, width
        Of the strip; pieces stay inside.
    loose
        A length that would do too, no shorter: when pieces are nearly apart they are slid at once,
        and it has ended if that sets them free on so much.
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
    length
        On which they lie: the one given or the loose one.

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
    rows = np.empty((pieces.turns.max(), count, ROW))
    meets = np.empty((pieces.turns.max() * _BINS + 1, count), np.int32)
    meet_count = np.empty(len(meets), np.int64)
    spots = np.empty((_REFINED + 1, SPOT))
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
            take_depths(pieces, rows, own, meets, x, y, growth, depths, piece)
        total = 0.5 * float(depths.sum())
        if total < least:
            idle = 0 if total < _PROGRESS * least else idle
            least = total
            take_over(turn, place, best_turn, best_place)
        else:
            idle += 1
        if 0.0 < total <= _NEARLY_APART * least:
            slid = place.copy()
            if slid_apart(pieces, loose, width, turn, slid):
                take_over(turn, slid, turn, place)
                return 0.0, loose
        _weigh(growth, depths)
    take_over(best_turn, best_place, turn, place)
    return least, length


@compiled
def _shuffle(order: Ints, rng: np.random.Generator) -> None:
    for last in range(len(order) - 1, 0, -1):
        other = any_of(last + 1, rng)
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
        fill_rows(pieces, turn, place, growth, piece, first + own, rows, own)
        least_x, most_x = -boxes[first + own, 0], length - boxes[first + own, 2]
        _fill_bins(rows, own, least_x, most_x, meets, meet_count)
    spots[:, COST] = math.inf
    spots[0, 0], spots[0, 1] = place[piece, 0], place[piece, 1]
    spots[0, TURN], spots[0, COST] = now - first, cost
    near = _SAME_PLACE * narrow
    middle_x = place[piece, 0] + 0.5 * (boxes[now, 0] + boxes[now, 2])
    middle_y = place[piece, 1] + 0.5 * (boxes[now, 1] + boxes[now, 3])
    worst = 1
    about = samples // 2
    for sample in range(samples + about):
        own = any_of(turns, rng)
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
        tried = cost_of_place(
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
            spots[worst, COST],
            False,
        )
        if tried >= spots[worst, COST]:
            continue
        at = worst
        for k in range(_REFINED + 1):
            same = spots[k, COST] < math.inf and spots[k, TURN] == own
            if same and abs(spots[k, 0] - x) < near and abs(spots[k, 1] - y) < near:
                at = k if tried < spots[k, COST] else -1
                break
        if at >= 0:
            spots[at, 0], spots[at, 1], spots[at, TURN], spots[at, COST] = x, y, own, tried
            for k in range(_REFINED + 1):
                worst = k if spots[k, COST] > spots[worst, COST] else worst
    # Others are compared by what is looked up; the best of them and where it lies exactly.
    best = 0
    for k in range(1, _REFINED + 1):
        if spots[k, COST] < math.inf:
            refine_place(
                pieces, length, width, rows, meets, first, spots, k,
                _COARSE * narrow, _COARSE_END * narrow, False, rng,
            )  # fmt: skip
            best = k if best == 0 or spots[k, COST] < spots[best, COST] else best
    refine_place(
        pieces, length, width, rows, meets, first, spots, 0,
        _COARSE * narrow, _COARSE_END * narrow, True, rng,
    )  # fmt: skip
    for k in (0, best):
        refine_place(
            pieces, length, width, rows, meets, first, spots, k,
            _FINE * narrow, _FINE_END * narrow, True, rng,
        )  # fmt: skip
        if spots[k, COST] < cost:
            cost = spots[k, COST]
            place[piece, 0], place[piece, 1] = spots[k, 0], spots[k, 1]
            turn[piece] = first + int(spots[k, TURN])


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
