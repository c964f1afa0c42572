"""Pieces of a strip slid all at once: out of slight overlaps, and together on less length."""

from __future__ import annotations

import math

import numpy as np

from fitkit.geometry.arrays import Floats, Ints
from fitkit.geometry.compiled import compiled
from fitkit.sheets.depth_tables import TABLE_ERROR
from fitkit.sheets.near_pairs import NearPairs, list_near, no_pairs
from fitkit.sheets.pair_depths import SAME_SQUARE, depths_of_all
from fitkit.sheets.strip_pieces import StripPieces

__all__ = ["MOST_OF_BOUND", "pressed", "slid_apart", "slid_down"]

MOST_OF_BOUND = 20.0
"""A slide that begins with more than so many times a bound hardly ever ends below it."""

# How often the slope is worked out at most.
_SLOPES = 100
# Steps remembered to tell how the slope bends.
_MEMORY = 6
# Pieces keep apart by this share of the narrowest piece, so that they end free and not all but.
_SLACK = 1e-4
# Pairs are listed anew for pieces gone further than this share of the narrowest; a first step goes
# no further than twice as much.
_FAR = 0.1
# Standing out of the strip counts so much more than as deep an overlap.
_EDGE_WEIGHT = 4.0
# A slide ends after so many steps that each gain less than this share.
_STALLED, _TOO_LITTLE = 5, 0.01
# How far downhill a step must lead, how much shorter the next is that does not, and the last.
_DESCENT, _BACK, _LEAST_STEP = 1e-4, 0.4, 1e-7
# Pressing: shares of the length, first and least; how they go on after gain and failure.
_PRESS, _LEAST_PRESS, _MORE, _LESS, _MOST_PRESSES = 0.002, 1e-5, 1.5, 0.4, 40
# After so many slopes, more than so many times the bound hardly ever ends below it: nine in ten of
# those that do had less (two thousand hops of swim that were let go on).
_LOOKED_AT = np.array([1, 4, 7, 10, 15, 20, 30])
_MOST_OF_BOUND = np.array([MOST_OF_BOUND, 6.8, 3.6, 2.0, 1.3, 1.1, 1.0])


@compiled
def slid_apart(pieces: StripPieces, length: float, width: float, turn: Ints, place: Floats) -> bool:
    """Slide all pieces at once until none overlap, or no further; tell whether they are apart.

    Half the sum of squared depths is led downhill by a quasi-Newton method: what a row of pieces
    can make way for a little each, moves of one after another take many rounds for.

    Parameters
    ----------
    length, width
        Of the strip; pieces end inside.
    turn, place
        (N,) int and (N, 2) float: how pieces lie; places are changed.

    References
    ----------
    J. Nocedal, S. J. Wright, *Numerical Optimization*, 2nd ed., 2006, algorithm 7.4. T. Imamichi,
    M. Yagiura, H. Nagamochi, Discrete Optimization 6, 2009: squared depths separated by it.
    """
    near = no_pairs(len(turn))
    left = slid_down(pieces, length, width, turn, place, math.inf, near)
    return left < math.inf and _largest(depths_of_all(pieces, turn, place)) == 0.0


@compiled
def slid_down(
    pieces: StripPieces,
    length: float,
    width: float,
    turn: Ints,
    place: Floats,
    bound: float,
    near: NearPairs,
) -> float:
    """Slide all pieces at once as :func:`slid_apart`; return half the sum of squared depths left.

    Parameters
    ----------
    bound
        Endless is returned as soon as less than this is not to be expected, and where a piece is
        longer or wider than the strip.
    near
        What is known of who can meet, as from :func:`fitkit.sheets.near_pairs.no_pairs`; kept from
        slide to slide of the same pieces.

    Returns
    -------
    left
        In the outlines' unit squared, times the pairs' shares. Pieces count as apart from a hair
        more than their gap on.
    """
    count = len(turn)
    narrowest = math.inf
    low, high = np.empty((count, 2)), np.empty((count, 2))
    for i in range(count):
        narrowest = min(narrowest, pieces.narrow[i])
        for c in range(2):
            low[i, c] = -pieces.boxes[turn[i], c]
            high[i, c] = (length if c == 0 else width) - pieces.boxes[turn[i], 2 + c]
            if high[i, c] < low[i, c]:
                return math.inf
    slack, far = _SLACK * narrowest, _FAR * narrowest
    list_near(pieces, turn, place, far, near)
    tried = np.empty((count, 2))
    slope, its = np.empty((count, 2)), np.empty((count, 2))
    value = _slope(pieces, near, low, high, place, slack, slope)
    moved, bent = np.empty((_MEMORY, count, 2)), np.empty((_MEMORY, count, 2))
    inverse, way = np.empty(_MEMORY), np.empty((count, 2))
    known = stalled = looks = 0
    worked_out = 1
    while worked_out < _SLOPES and value > 0.0 and stalled < _STALLED:
        if looks < len(_LOOKED_AT) and worked_out >= _LOOKED_AT[looks]:
            if value > _MOST_OF_BOUND[looks] * bound:
                return math.inf
            looks += 1
        _fill_way_down(slope, moved, bent, inverse, known, way)
        down = _dot(slope, way)
        step = min(1.0, 2.0 * far / max(_largest(way), 1e-300))
        last = step * _LEAST_STEP
        found = False
        new = value
        while worked_out < _SLOPES and step > last and not found:
            _fill_sum(place, step, way, tried)
            list_near(pieces, turn, tried, far, near)
            new = _slope(pieces, near, low, high, tried, slack, its)
            worked_out += 1
            found = new <= value + _DESCENT * step * down
            step *= _BACK
        if not found and known == 0:
            break
        if not found:
            known = 0
            continue
        m = known % _MEMORY
        _fill_sum(tried, -1.0, place, moved[m])
        _fill_sum(its, -1.0, slope, bent[m])
        curved = _dot(moved[m], bent[m])
        known = known + 1 if curved > 0.0 else 0
        inverse[m] = 1.0 / max(curved, 1e-300)
        stalled = stalled + 1 if new > (1.0 - _TOO_LITTLE) * value else 0
        _fill_scaled(tried, 1.0, place)
        _fill_scaled(its, 1.0, slope)
        value = new
    for i in range(count):
        for c in range(2):
            place[i, c] = min(max(place[i, c], low[i, c]), high[i, c])
    return value


@compiled
def pressed(pieces: StripPieces, length: float, width: float, turn: Ints, place: Floats) -> float:
    """Slide pieces that are apart together, as long as that makes their strip shorter.

    Parameters
    ----------
    turn, place
        (N,) int and (N, 2) float: how pieces lie; places are changed.

    Returns
    -------
    length
        Of the shorter strip.
    """
    share = _PRESS
    for _ in range(_MOST_PRESSES):
        shorter = (1.0 - share) * length
        slid = place.copy()
        if slid_apart(pieces, shorter, width, turn, slid):
            length = shorter
            _fill_scaled(slid, 1.0, place)
            share *= _MORE
        else:
            share *= _LESS
        if share < _LEAST_PRESS:
            break
    return length


@compiled
def _dot(one: Floats, other: Floats) -> float:
    total = 0.0
    for i in range(len(one)):
        total += one[i, 0] * other[i, 0] + one[i, 1] * other[i, 1]
    return total


@compiled
def _largest(table: Floats) -> float:
    most = 0.0
    for i in range(table.shape[0]):
        for j in range(table.shape[1]):
            most = max(most, abs(table[i, j]))
    return most


@compiled
def _fill_sum(one: Floats, factor: float, other: Floats, total: Floats) -> None:
    for i in range(len(one)):
        for c in range(2):
            total[i, c] = one[i, c] + factor * other[i, c]


@compiled
def _fill_scaled(one: Floats, factor: float, scaled: Floats) -> None:
    for i in range(len(one)):
        for c in range(2):
            scaled[i, c] = factor * one[i, c]


@compiled
def _fill_way_down(
    slope: Floats, moved: Floats, bent: Floats, inverse: Floats, known: int, way: Floats
) -> None:
    """Fill (N, 2) float ``way``, where to go, by the last steps and how the slope changed."""
    share = np.empty(_MEMORY)
    oldest = max(0, known - _MEMORY)
    _fill_scaled(slope, -1.0, way)
    for k in range(known - 1, oldest - 1, -1):
        m = k % _MEMORY
        share[m] = inverse[m] * _dot(moved[m], way)
        _fill_sum(way, -share[m], bent[m], way)
    # At first two pieces that overlap share what they go.
    scale = 0.25
    if known > 0:
        m = (known - 1) % _MEMORY
        scale = 1.0 / (inverse[m] * _dot(bent[m], bent[m]))
    _fill_scaled(way, scale, way)
    for k in range(oldest, known):
        m = k % _MEMORY
        _fill_sum(way, share[m] - inverse[m] * _dot(bent[m], way), moved[m], way)


@compiled
def _slope(
    pieces: StripPieces,
    near: NearPairs,
    low: Floats,
    high: Floats,
    place: Floats,
    slack: float,
    slope: Floats,
) -> float:
    """Return half the sum of squared depths, (N, 2) float ``slope`` filled with its slope."""
    values, rims, edges, first = pieces.values, pieces.rims, pieces.near, pieces.near_first
    ends, frame = near.ends, near.frame
    total = 0.0
    for i in range(len(place)):
        for c in range(2):
            out = min(0.0, place[i, c] - low[i, c]) + max(0.0, place[i, c] - high[i, c])
            slope[i, c] = _EDGE_WEIGHT * out
            total += 0.5 * _EDGE_WEIGHT * out * out
    for p in range(near.listed[0]):
        a, b, columns = ends[p, 0], ends[p, 1], ends[p, 3]
        way, per = frame[p, 0], frame[p, 1]
        u = way * (place[b, 0] - place[a, 0]) + frame[p, 2]
        v = way * (place[b, 1] - place[a, 1]) + frame[p, 3]
        if (u < 0.0) | (v < 0.0) | (u >= columns - 1) | (v >= ends[p, 4] - 1):
            continue
        i, j = int(u), int(v)
        fu, fv = u - i, v - j
        node = ends[p, 2] + j * columns + i
        v00, v01 = values[node], values[node + 1]
        v10, v11 = values[node + columns], values[node + columns + 1]
        below, above = v00 + fu * (v01 - v00), v10 + fu * (v11 - v10)
        clear = below + fv * (above - below)
        along_u, along_v = (1.0 - fv) * (v01 - v00) + fv * (v11 - v10), above - below
        if clear >= TABLE_ERROR:
            continue
        if clear > -TABLE_ERROR and first[node + 1] > first[node]:
            # The signed distance to the nearest edge of the rim leads away from where it is so.
            best, side, away_u, away_v = math.inf, 0.0, 0.0, 0.0
            for n in range(first[node], first[node + 1]):
                e = edges[n]
                ux, uy = rims[e, 2], rims[e, 3]
                gx, gy = u - rims[e, 0], v - rims[e, 1]
                along = gx * ux + gy * uy
                across = gx * uy - gy * ux
                beyond = min(0.0, along) + max(0.0, along - rims[e, 4])
                apart = across * across + beyond * beyond
                if apart < best * (1.0 - SAME_SQUARE) or (
                    apart < best * (1.0 + SAME_SQUARE) and abs(across) > abs(side)
                ):
                    side = across
                    away_u, away_v = across * uy + beyond * ux, beyond * uy - across * ux
                best = min(best, apart)
            far = math.copysign(math.sqrt(best), side)
            clear = far - pieces.gap * per
            if best > 0.0:
                along_u, along_v = away_u / far, away_v / far
        deep = slack - clear / per
        if deep <= 0.0:
            continue
        pull = pieces.share[a, b] * deep
        total += 0.5 * pull * deep
        # Columns and rows a unit, with their sign, over those without.
        pull *= way / per
        slope[a, 0] += pull * along_u
        slope[a, 1] += pull * along_v
        slope[b, 0] -= pull * along_u
        slope[b, 1] -= pull * along_v
    return total
