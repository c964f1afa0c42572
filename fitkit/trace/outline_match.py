"""Which part a piece is, and how it lies: outlines laid over one another."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from scipy.spatial import cKDTree

from fitkit.geometry.arrays import Floats

__all__ = ["OutlineMatch", "best_lie", "match_outlines"]

_POINTS = 160
_STARTS = 24
_COARSE_ROUNDS, _FINE_ROUNDS = 8, 40
# Edges moved on purpose must not drag the rest along: differences weigh as if none were much
# larger than this once the outlines roughly lie on one another.
_SCALES_MM = (12.0, 5.0, 2.5, 1.2)
# Areas further apart than this are of different parts.
_MOST_AREA_RATIO = 1.6


@dataclass(frozen=True, slots=True, eq=False)
class OutlineMatch:
    """A piece's outline laid over a part's.

    Attributes
    ----------
    index
        Which of the parts.
    turned_over
        Whether the piece had to be turned face down to lie so.
    turn, shift_mm
        (2, 2) and (2,): part place = turn @ (table place, x mirrored if turned over) + shift.
    unlike
        Area that only one of the two covers, over the part's area: 0 for the same outline.
    """

    index: int
    turned_over: bool
    turn: Floats
    shift_mm: Floats
    unlike: float

    def to_part(self, points_mm: Floats) -> Floats:
        """(N, 2) float mm: table places moved onto the part's drawing."""
        own = points_mm * np.array([-1.0, 1.0]) if self.turned_over else points_mm
        moved: Floats = own @ self.turn.T + self.shift_mm
        return moved


def match_outlines(outline_mm: Floats, parts_mm: Sequence[Floats]) -> tuple[OutlineMatch, ...]:
    """Return how a piece lies on each part that it could be, the likeliest first.

    Parameters
    ----------
    outline_mm
        (N, 2) float mm, counter-clockwise: the piece.
    parts_mm
        The parts' cut lines, (M, 2) each, counter-clockwise.
    """
    area = shapely.Polygon(outline_mm).buffer(0).area
    found = []
    for index, part in enumerate(parts_mm):
        ratio = area / max(shapely.Polygon(part).buffer(0).area, 1e-9)
        if not 1 / _MOST_AREA_RATIO <= ratio <= _MOST_AREA_RATIO:
            continue
        found += [best_lie(outline_mm, part, index, turned_over=over) for over in (False, True)]
    return tuple(sorted(found, key=lambda match: (match.unlike, match.turned_over)))


def best_lie(
    outline_mm: Floats, part_mm: Floats, index: int = 0, *, turned_over: bool = False
) -> OutlineMatch:
    """Return how a piece lies on a part, without asking whether it is that part.

    Starts from many turns about the middle; the best is refined with moved edges discounted.
    """
    own = outline_mm * np.array([-1.0, 1.0]) if turned_over else outline_mm
    points = _even(own, _POINTS)
    ring = shapely.LinearRing(part_mm)
    dense = _even(part_mm, 4 * _POINTS)
    near = cKDTree(dense)
    middle = np.array(shapely.Polygon(part_mm).buffer(0).centroid.coords[0])
    own_middle = np.array(shapely.Polygon(own).buffer(0).centroid.coords[0])
    best: tuple[float, Floats, Floats] | None = None
    for start in range(_STARTS):
        angle = 2 * np.pi * start / _STARTS
        turn = _turn(angle)
        shift = middle - turn @ own_middle
        for _ in range(_COARSE_ROUNDS):
            moved = points @ turn.T + shift
            turn, shift = _fitted(points, dense[near.query(moved)[1]], np.ones(len(points)))
        off = float(np.mean(near.query(points @ turn.T + shift)[0]))
        if best is None or off < best[0] - 1e-9:
            best = off, turn, shift
    assert best is not None
    _, turn, shift = best
    points = _even(own, 4 * _POINTS)
    for scale in _SCALES_MM:
        for _ in range(_FINE_ROUNDS // len(_SCALES_MM)):
            moved = points @ turn.T + shift
            at = shapely.line_locate_point(ring, shapely.points(moved))
            nearest = shapely.get_coordinates(shapely.line_interpolate_point(ring, at))
            off2 = np.sum((nearest - moved) ** 2, axis=1)
            turn, shift = _fitted(points, nearest, 1.0 / (1.0 + off2 / scale**2) ** 2)
    laid = shapely.Polygon(own @ turn.T + shift).buffer(0)
    part = shapely.Polygon(part_mm).buffer(0)
    unlike = float(shapely.symmetric_difference(laid, part).area) / float(part.area)
    return OutlineMatch(index, turned_over, turn, shift, unlike)


def _fitted(points: Floats, onto: Floats, weights: Floats) -> tuple[Floats, Floats]:
    """Return the turn and shift that lay points onto their partners, weighed least squares."""
    weights = weights / weights.sum()
    a, b = weights @ points, weights @ onto
    spread = (weights[:, None] * (points - a)).T @ (onto - b)
    angle = np.arctan2(spread[0, 1] - spread[1, 0], spread[0, 0] + spread[1, 1])
    turn = _turn(float(angle))
    return turn, b - turn @ a


def _turn(angle_rad: float) -> Floats:
    c, s = np.cos(angle_rad), np.sin(angle_rad)
    return np.array([[c, -s], [s, c]])


def _even(points: Floats, count: int) -> Floats:
    ring = shapely.LinearRing(points)
    at = np.arange(count) * ring.length / count
    return np.asarray(shapely.get_coordinates(shapely.line_interpolate_point(ring, at)))
