"""Pieces of a strip that hop: two swapped or one put elsewhere, small ones make way, all slide."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from fitkit.geometry.arrays import Floats, Ints
from fitkit.geometry.compiled import compiled, compiled_into
from fitkit.sheets.joint_slide import MOST_OF_BOUND, slid_down
from fitkit.sheets.near_pairs import no_pairs
from fitkit.sheets.pair_depths import ROW, cost_of_place, fill_rows
from fitkit.sheets.refined_place import (
    CLOSE,
    COST,
    SPOT,
    TURN,
    any_of,
    refine_place,
    take_close,
    take_over,
)
from fitkit.sheets.strip_pieces import StripPieces

__all__ = ["hop_about"]

# Shares of hops: one piece put anywhere, two neighbours swapped; else two of like size are swapped.
_ANYWHERE, _NEIGHBOURS = 0.18, 0.1
# How much more seldom pieces are swapped the less alike they are in size, and draws at most.
_ALIKE, _DRAWS = 2.0, 1000
# How much sooner, the larger they are: else small pieces, which go anywhere, have nearly all hops.
_LARGER = 0.25
# Pieces of no more than this share of the area hopped make way, so many one after another.
_MAKES_WAY, _MOST_WAYS = 0.5, 6
# Places looked at for a piece in each of its turns: near a given place, or anywhere; half each for
# one that makes way.
_SAMPLES, _SAMPLES_ANYWHERE, _SAMPLES_WAY = 8, 16, 12
# How far from its place a piece is tried, as a share of half its box; the refinement's first and
# last step as shares of its narrow side.
_NEAR, _COARSE, _COARSE_END = 0.5, 0.1, 0.02
# A piece put no further than this share of its narrow side lies where it lay.
_SAME_PLACE = 0.3


@compiled
def hop_about(
    pieces: StripPieces,
    kind: Ints,
    size: Floats,
    length: float,
    width: float,
    turn: Ints,
    place: Floats,
    value: float,
    best_turn: Ints,
    best_place: Floats,
    least: float,
    heat: float,
    hops: int,
    rng: np.random.Generator,
) -> tuple[float, float]:
    """Change how pieces lie by one hop after another; each is kept that leaves little more overlap.

    Small pieces that a large one comes to lie on are put elsewhere one by one; then all pieces are
    slid at once. How much more may be left is drawn anew each time: the root of half the sum of
    squared depths may grow by ``heat`` in the mean (annealing).

    Parameters
    ----------
    kind, size
        (N,) int, equal for pieces that are alike, and (N,) float, the logarithm of their area.
    length, width
        Of the strip; pieces stay inside.
    turn, place
        (N,) int and (N, 2) float: how pieces lie, slid; both are changed.
    value
        What :func:`fitkit.sheets.joint_slide.slid_down` left of them.
    best_turn, best_place, least
        The same of the best met; changed when a better one is met.
    heat
        In the outlines' unit.
    hops
        How many are tried; fewer when no overlap is left.

    Returns
    -------
    value, least
        Of how pieces lie now, and of the best met.

    References
    ----------
    T. Imamichi, M. Yagiura, H. Nagamochi, Discrete Optimization 6, 2009: swaps, each followed by
    separating all. S. Kirkpatrick, C. D. Gelatt, M. P. Vecchi, *Optimization by simulated
    annealing*, Science 220, 1983; here the allowance is drawn from an exponential law, which keeps
    a worse layout as often. F. Glover, *Ejection chains, reference structures and alternating path
    methods for traveling salesman problems*, Discrete Applied Mathematics 65, 1996: what a move
    pushes out is put elsewhere before the move is judged.
    """
    count = len(turn)
    near = no_pairs(count)
    rows = np.empty((pieces.turns.max(), count, ROW))
    meets = np.empty((1, count), np.int32)
    spots = np.empty((1, SPOT))
    growth = np.ones((count, count))
    its_turn, its_place = turn.copy(), place.copy()
    for _ in range(hops):
        if value == 0.0:
            break
        take_over(turn, place, its_turn, its_place)
        bound = (math.sqrt(value) - heat * math.log(1.0 - rng.random())) ** 2
        one, other, swapped = _drawn(pieces, kind, size, turn, place, rng)
        if swapped and other < 0:
            continue
        x, y = _middle(pieces, turn, place, one)
        dx, dy = _half_box(pieces, turn, one)
        if swapped:
            u, v = _middle(pieces, turn, place, other)
            _put_middle(pieces, its_turn, its_place, other, x, y)
            _fit(
                pieces, length, width, its_turn, its_place, growth, rows, meets, spots, one,
                u, v, _NEAR * dx, _NEAR * dy, _SAMPLES, 0, rng,
            )  # fmt: skip
            du, dv = _half_box(pieces, turn, other)
            _fit(
                pieces, length, width, its_turn, its_place, growth, rows, meets, spots, other,
                x, y, _NEAR * du, _NEAR * dv, _SAMPLES, 0, rng,
            )  # fmt: skip
        else:
            _fit(
                pieces, length, width, its_turn, its_place, growth, rows, meets, spots, one,
                0.0, 0.0, 0.0, 0.0, 0, _SAMPLES_ANYWHERE, rng,
            )  # fmt: skip
            far = max(
                abs(its_place[one, 0] - place[one, 0]), abs(its_place[one, 1] - place[one, 1])
            )
            if its_turn[one] == turn[one] and far < _SAME_PLACE * pieces.narrow[one]:
                continue
        for _ in range(_MOST_WAYS):
            small = _in_the_way(pieces, size, its_turn, its_place, one, other, bound)
            if small < 0:
                break
            # Most likely there is room where the large one lay.
            _fit(
                pieces, length, width, its_turn, its_place, growth, rows, meets, spots, small,
                x, y, dx, dy, _SAMPLES_WAY, _SAMPLES_WAY, rng,
            )  # fmt: skip
        # Most hops are given up here: what two pieces alone overlap tells enough.
        left = _squares(pieces, its_turn, its_place, one)
        if other >= 0:
            left = max(left, _squares(pieces, its_turn, its_place, other))
        if left > MOST_OF_BOUND * bound:
            continue
        left = slid_down(pieces, length, width, its_turn, its_place, bound, near)
        if left <= bound:
            value = left
            take_over(its_turn, its_place, turn, place)
            if value < least:
                least = value
                take_over(turn, place, best_turn, best_place)
    return value, least


@compiled
def _fit(
    pieces: StripPieces,
    length: float,
    width: float,
    turn: Ints,
    place: Floats,
    growth: Floats,
    rows: Floats,
    meets: NDArray[np.int32],
    spots: Floats,
    piece: int,
    x: float,
    y: float,
    half_x: float,
    half_y: float,
    samples: int,
    elsewhere: int,
    rng: np.random.Generator,
) -> None:
    """Put a piece where it overlaps least, as found by sampling.

    ``samples`` are looked at with its middle no further than a half from x, y along both axes, in
    each of its turns, and so many ``elsewhere``, anywhere in the strip.
    """
    first, boxes = pieces.first_turn[piece], pieces.boxes
    spots[0, COST] = math.inf
    for own in range(pieces.turns[piece]):
        k = first + own
        left, low, right, high = boxes[k, 0], boxes[k, 1], boxes[k, 2], boxes[k, 3]
        most_x, most_y = length - right, width - high
        if (most_x < -left) | (most_y < -low):
            continue
        mx, my = x - 0.5 * (left + right), y - 0.5 * (low + high)
        mx, my = min(max(mx, -left), most_x), min(max(my, -low), most_y)
        x0, x1 = max(mx - half_x, -left), min(mx + half_x, most_x)
        y0, y1 = max(my - half_y, -low), min(my + half_y, most_y)
        fill_rows(pieces, turn, place, growth, piece, k, rows, own)
        reach = math.inf if elsewhere > 0 else max(x1 - mx, mx - x0, y1 - my, my - y0)
        count = take_close(pieces.values, rows, own, meets, mx, my, reach)
        for sample in range(samples + elsewhere):
            u, v = mx, my
            if sample >= samples:
                u = -left + (most_x + left) * rng.random()
                v = -low + (most_y + low) * rng.random()
            elif sample > 0:
                u, v = x0 + (x1 - x0) * rng.random(), y0 + (y1 - y0) * rng.random()
            cost = cost_of_place(
                pieces.values, pieces.near_first, pieces.near, pieces.rims, pieces.gap, rows, own,
                meets, CLOSE, count, u, v, spots[0, COST], False,
            )  # fmt: skip
            if cost < spots[0, COST]:
                spots[0, 0], spots[0, 1], spots[0, TURN], spots[0, COST] = u, v, own, cost
    if spots[0, COST] < math.inf:
        narrow = pieces.narrow[piece]
        refine_place(
            pieces, length, width, rows, meets, first, spots, 0,
            _COARSE * narrow, _COARSE_END * narrow, False, rng,
        )  # fmt: skip
        place[piece, 0], place[piece, 1] = spots[0, 0], spots[0, 1]
        turn[piece] = first + int(spots[0, TURN])


@compiled
def _in_the_way(
    pieces: StripPieces,
    size: Floats,
    turn: Ints,
    place: Floats,
    one: int,
    other: int,
    enough: float,
) -> int:
    """Return which much smaller piece one and other overlap most; -1 if none more than enough."""
    worst, found = enough, -1
    for small in range(len(turn)):
        if small == other or size[small] > size[one] + math.log(_MAKES_WAY):
            continue
        square = _square(pieces, turn, place, one, small)
        if other >= 0:
            square += _square(pieces, turn, place, other, small)
        if square > worst:
            worst, found = square, small
    return found


@compiled
def _squares(pieces: StripPieces, turn: Ints, place: Floats, piece: int) -> float:
    """Return half the sum of squared depths of one piece, as looked up, times the pairs' shares."""
    total = 0.0
    for other in range(len(turn)):
        if other != piece:
            total += _square(pieces, turn, place, piece, other)
    return total


@compiled_into
def _square(pieces: StripPieces, turn: Ints, place: Floats, piece: int, other: int) -> float:
    k = pieces.table[turn[piece], turn[other]]
    per = pieces.frame[k, 2]
    way = per * pieces.way[turn[piece], turn[other]]
    columns, rows = int(pieces.frame[k, 3]), int(pieces.frame[k, 4])
    u = way * (place[other, 0] - place[piece, 0]) - per * pieces.frame[k, 0]
    v = way * (place[other, 1] - place[piece, 1]) - per * pieces.frame[k, 1]
    deep = 0.0
    if not ((u < 0.0) | (v < 0.0) | (u >= columns - 1) | (v >= rows - 1)):
        i, j = int(u), int(v)
        fu, fv = u - i, v - j
        node = int(pieces.frame[k, 5]) + j * columns + i
        below = pieces.values[node] + fu * (pieces.values[node + 1] - pieces.values[node])
        node += columns
        above = pieces.values[node] + fu * (pieces.values[node + 1] - pieces.values[node])
        deep = max(0.0, -(below + fv * (above - below)) / per)
    square: float = 0.5 * pieces.share[piece, other] * deep * deep
    return square


@compiled
def _drawn(
    pieces: StripPieces,
    kind: Ints,
    size: Floats,
    turn: Ints,
    place: Floats,
    rng: np.random.Generator,
) -> tuple[int, int, bool]:
    """Draw a piece, the larger of two where they are to be swapped; the other -1 if none is."""
    drawn = rng.random()
    one, other = any_of(len(turn), rng), -1
    if drawn < _ANYWHERE:
        return one, other, False
    if drawn < _ANYWHERE + _NEIGHBOURS:
        other = _neighbour(pieces, kind, turn, place, one, rng)
    else:
        one, other = _two_alike(kind, size, rng)
    if other >= 0 and size[one] < size[other]:
        one, other = other, one
    return one, other, True


@compiled
def _two_alike(kind: Ints, size: Floats, rng: np.random.Generator) -> tuple[int, int]:
    """Draw two pieces of different kinds, large and of like size sooner; the second -1 if none."""
    largest = size.max()
    for _ in range(_DRAWS):
        one, other = any_of(len(kind), rng), any_of(len(kind), rng)
        unlike, smaller = abs(size[one] - size[other]), largest - max(size[one], size[other])
        likely = math.exp(-_ALIKE * unlike - _LARGER * smaller)
        if kind[one] != kind[other] and rng.random() < likely:
            return one, other
    return 0, -1


@compiled
def _neighbour(
    pieces: StripPieces, kind: Ints, turn: Ints, place: Floats, one: int, rng: np.random.Generator
) -> int:
    """Draw a piece of another kind, mostly among the nearest; -1 if there is none."""
    x, y = _middle(pieces, turn, place, one)
    nearest, found = math.inf, -1
    for other in range(len(turn)):
        if kind[other] != kind[one]:
            u, v = _middle(pieces, turn, place, other)
            far = ((u - x) ** 2 + (v - y) ** 2) * (0.25 + rng.random())
            if far < nearest:
                nearest, found = far, other
    return found


@compiled
def _half_box(pieces: StripPieces, turn: Ints, piece: int) -> tuple[float, float]:
    box = pieces.boxes[turn[piece]]
    return 0.5 * (box[2] - box[0]), 0.5 * (box[3] - box[1])


@compiled
def _middle(pieces: StripPieces, turn: Ints, place: Floats, piece: int) -> tuple[float, float]:
    box = pieces.boxes[turn[piece]]
    return place[piece, 0] + 0.5 * (box[0] + box[2]), place[piece, 1] + 0.5 * (box[1] + box[3])


@compiled
def _put_middle(
    pieces: StripPieces, turn: Ints, place: Floats, piece: int, x: float, y: float
) -> None:
    box = pieces.boxes[turn[piece]]
    place[piece, 0], place[piece, 1] = x - 0.5 * (box[0] + box[2]), y - 0.5 * (box[1] + box[3])
