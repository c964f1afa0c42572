"""Which pieces of a strip can come to meet, looked up anew only for those that have moved."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from fitkit.geometry.arrays import Bools, Floats, Ints
from fitkit.geometry.compiled import compiled, compiled_within
from fitkit.sheets.strip_pieces import StripPieces

__all__ = ["NearPairs", "list_near", "no_pairs"]

_ENDS, _FRAME = 5, 4


class NearPairs(NamedTuple):
    """Pairs that meet while no piece goes further than some way from where it was listed.

    Attributes
    ----------
    ends
        (P, 5) int: both pieces, where their table starts, its columns and rows.
    frame
        (P, 4) float: cells per unit with their sign, without, and the offsets of column and row.
    listed
        (1,) int: how many pairs are listed; what follows them is room.
    turn, place
        (N,) int and (N, 2) float: how pieces lay when they were listed; a turn of -1 not yet.
    moved
        (N,) bool: room to tell which pieces have moved.
    """

    ends: Ints
    frame: Floats
    listed: Ints
    turn: Ints
    place: Floats
    moved: Bools


@compiled_within
def no_pairs(count: int) -> NearPairs:
    """Return room for the pairs of so many pieces, none of which is listed."""
    pairs = count * (count - 1) // 2
    return NearPairs(
        np.empty((pairs, _ENDS), np.int64),
        np.empty((pairs, _FRAME)),
        np.zeros(1, np.int64),
        np.full(count, -1),
        np.zeros((count, 2)),
        np.zeros(count, np.bool_),
    )


@compiled
def list_near(pieces: StripPieces, turn: Ints, place: Floats, far: float, near: NearPairs) -> None:
    """List anew the pairs of all pieces that lie in another turn or further off than listed.

    A slide moves few pieces far: the pairs of the others still hold.

    Parameters
    ----------
    turn, place
        (N,) int and (N, 2) float: how pieces lie.
    far
        How far a piece may go, along x and along y, until its pairs are listed anew; the same in
        all calls.
    near
        What is listed; changed.
    """
    any_moved = False
    for a in range(len(turn)):
        off_x, off_y = place[a, 0] - near.place[a, 0], place[a, 1] - near.place[a, 1]
        near.moved[a] = (turn[a] != near.turn[a]) | (max(abs(off_x), abs(off_y)) > far)
        if near.moved[a]:
            any_moved = True
            near.turn[a], near.place[a, 0], near.place[a, 1] = turn[a], place[a, 0], place[a, 1]
    if not any_moved:
        return
    kept = 0
    for p in range(near.listed[0]):
        if near.moved[near.ends[p, 0]] | near.moved[near.ends[p, 1]]:
            continue
        if kept < p:
            for c in range(_ENDS):
                near.ends[kept, c] = near.ends[p, c]
            for c in range(_FRAME):
                near.frame[kept, c] = near.frame[p, c]
        kept += 1
    for a in range(len(turn)):
        if not near.moved[a]:
            continue
        for b in range(len(turn)):
            # Of two that have moved the later lists their pair.
            if (a == b) | (near.moved[b] & (b > a)):
                continue
            k = pieces.table[near.turn[a], near.turn[b]]
            per = pieces.frame[k, 2]
            way = per * pieces.way[near.turn[a], near.turn[b]]
            off_u, off_v = -per * pieces.frame[k, 0], -per * pieces.frame[k, 1]
            columns, rows = int(pieces.frame[k, 3]), int(pieces.frame[k, 4])
            first = int(pieces.frame[k, 5])
            u = way * (near.place[b, 0] - near.place[a, 0]) + off_u
            v = way * (near.place[b, 1] - near.place[a, 1]) + off_v
            beyond = max(-u, u - (columns - 1), -v, v - (rows - 1))
            # Both may go as far.
            cells = 2.0 * per * far
            if beyond > cells:
                continue
            # A clearance changes no faster than a piece moves.
            if beyond < 0.0 and pieces.values[first + int(v) * columns + int(u)] > 1.42 * (
                cells + 1.0
            ):
                continue
            near.ends[kept, 0], near.ends[kept, 1], near.ends[kept, 2] = a, b, first
            near.ends[kept, 3], near.ends[kept, 4] = columns, rows
            near.frame[kept, 0], near.frame[kept, 1] = way, per
            near.frame[kept, 2], near.frame[kept, 3] = off_u, off_v
            kept += 1
    near.listed[0] = kept
