"""How the plates of a left and a right side differ once laid flat."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from fitkit.flatten.flat_patch import FlatPatch
from fitkit.geometry.arrays import Floats

__all__ = ["PairDifference", "pair_difference"]

_SAMPLES = 360
_FITTING_ROUNDS = 60


@dataclass(frozen=True, slots=True, eq=False)
class PairDifference:
    """Two outlines laid on each other, the other side's turned over.

    Attributes
    ----------
    drawn_mm, other_mm
        (N, 2) and (M, 2) float mm: the outlines, closed without repeating the first point; the
        other's mirrored and moved onto the drawn one as well as turning and shifting can.
    furthest_mm
        The largest distance of one outline from the other.
    worst_mm
        (2,) float mm: where on the drawn outline, or nearest to it.
    rms_mm
        Root mean square of the distances all round.
    area_share
        Area of the other over that of the drawn, less one.
    length_share
        The same for the outlines' lengths.
    """

    drawn_mm: Floats
    other_mm: Floats
    furthest_mm: float
    worst_mm: Floats
    rms_mm: float
    area_share: float
    length_share: float


def pair_difference(drawn: FlatPatch, other: FlatPatch) -> PairDifference:
    """Return how the blank of one side differs from the mirrored blank of the other.

    The two are laid on each other by the turn and shift that make the square distances between
    them least: of all starts round the outline the best, then point to nearest point.

    References
    ----------
    P. Besl, N. McKay, "A method for registration of 3-D shapes", IEEE Transactions on Pattern
    Analysis and Machine Intelligence 14 (1992). The turn: W. Kabsch, "A solution for the best
    rotation to relate two sets of vectors", Acta Crystallographica A32 (1976).
    """
    here = _outline(drawn)
    there = (_outline(other) * [-1.0, 1.0])[::-1]
    fixed, moving = _evenly(here), _evenly(there)
    starts = [np.roll(moving, -k, axis=0) for k in range(0, _SAMPLES, 4)]
    fits = [_rigid(start, fixed) for start in starts]
    misfit = [
        float(((start @ turn.T + shift - fixed) ** 2).sum())
        for start, (turn, shift) in zip(starts, fits, strict=True)
    ]
    turn, shift = fits[int(np.argmin(misfit))]
    ring = shapely.LinearRing(here)
    for _ in range(_FITTING_ROUNDS):
        at = moving @ turn.T + shift
        nearest = _nearest(ring, at)
        again = _rigid(moving, nearest)
        if np.allclose(again[1], shift, atol=1e-6) and np.allclose(again[0], turn, atol=1e-9):
            break
        turn, shift = again
    laid = there @ turn.T + shift
    other_ring = shapely.LinearRing(laid)
    out = _evenly(laid)
    gaps = np.concatenate(
        [
            shapely.distance(ring, shapely.points(out)),
            shapely.distance(other_ring, shapely.points(fixed)),
        ]
    )
    places = np.vstack([out, fixed])
    worst = int(gaps.argmax())
    areas = [float(shapely.Polygon(one).area) for one in (here, laid)]
    return PairDifference(
        here,
        laid,
        float(gaps[worst]),
        places[worst],
        float(np.sqrt((gaps**2).mean())),
        areas[1] / areas[0] - 1.0,
        float(other_ring.length / ring.length - 1.0),
    )


def _outline(flat: FlatPatch) -> Floats:
    points: Floats = np.vstack([edge.points_mm[:-1] for edge in flat.outline])
    return points


def _evenly(outline: Floats) -> Floats:
    """Return (_SAMPLES, 2) points evenly round an outline."""
    round_ = np.vstack([outline, outline[:1]])
    arc = np.r_[0.0, np.cumsum(np.linalg.norm(np.diff(round_, axis=0), axis=1))]
    at = np.linspace(0.0, arc[-1], _SAMPLES, endpoint=False)
    return np.stack([np.interp(at, arc, round_[:, k]) for k in range(2)], axis=1)


def _nearest(ring: shapely.LinearRing, points: Floats) -> Floats:
    along = shapely.line_locate_point(ring, shapely.points(points))
    nearest: Floats = shapely.get_coordinates(shapely.line_interpolate_point(ring, along))
    return nearest


def _rigid(moving: Floats, fixed: Floats) -> tuple[Floats, Floats]:
    """Turn (2, 2) and shift (2,) that take points onto their partners with least squares."""
    a, b = moving.mean(axis=0), fixed.mean(axis=0)
    u, _, vt = np.linalg.svd((moving - a).T @ (fixed - b))
    flip = np.diag([1.0, np.sign(np.linalg.det(vt.T @ u.T))])
    turn: Floats = vt.T @ flip @ u.T
    return turn, b - turn @ a
