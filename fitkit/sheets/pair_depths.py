"""How deep pieces of a strip overlap where they lie, or would lie: depths looked up in tables."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from fitkit.geometry.arrays import Floats, Ints
from fitkit.geometry.compiled import compiled, compiled_into
from fitkit.sheets.clearance_grid import Singles
from fitkit.sheets.depth_tables import TABLE_ERROR
from fitkit.sheets.strip_pieces import StripPieces

__all__ = ["ROW", "SAME_SQUARE", "cost_of_place", "depths_of_all", "fill_rows", "take_depths"]

ROW = 7
"""Of what is known of a piece and one other: how many numbers; the last is their weight."""
SAME_SQUARE = 1e-9
"""Squares of distances that differ by no more than this share are as near."""

_WEIGHT = ROW - 1
# So many cells deep is rounding: pieces may fit exactly.
_HAIR = 1e-9


@compiled
def depths_of_all(pieces: StripPieces, turn: Ints, place: Floats) -> Floats:
    """Return (N, N) float: how deep every two pieces overlap, times their share."""
    count = len(turn)
    depths = np.zeros((count, count))
    growth = np.ones((count, count))
    rows, own = np.empty((1, count, ROW)), np.empty((1, 1), np.int32)
    for piece in range(count):
        fill_rows(pieces, turn, place, growth, piece, turn[piece], rows, 0)
        x, y = place[piece, 0], place[piece, 1]
        take_depths(pieces, rows, 0, own, x, y, growth, depths, piece)
    return depths


@compiled
def take_depths(
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
    """Work out how deep a piece overlaps every other, from its rows: (N, N) float, unweighted."""
    for other in range(rows.shape[1]):
        if other == piece:
            continue
        meets[-1, 0] = other
        cost = cost_of_place(
            pieces.values, pieces.near_first, pieces.near, pieces.rims, pieces.gap, rows, own,
            meets, -1, 1, x, y, math.inf, True,
        )  # fmt: skip
        depths[piece, other] = depths[other, piece] = cost / growth[piece, other]


@compiled
def fill_rows(
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


@compiled_into
def cost_of_place(
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
                if apart < best * (1.0 - SAME_SQUARE) or (
                    apart < best * (1.0 + SAME_SQUARE) and abs(across) > abs(side)
                ):
                    side = across
                best = min(best, apart)
            clear = math.copysign(math.sqrt(best), side) - gap * abs(per)
        total -= rows[row, other, _WEIGHT] * clear if clear < -_HAIR else 0.0
    return total
