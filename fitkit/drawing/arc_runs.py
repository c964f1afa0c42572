"""A polyline told in fewer pieces: straight runs and arcs, for machines that follow both."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitkit.geometry.arrays import Floats, frozen_floats

__all__ = ["ArcRuns", "arc_runs"]

# An arc as told here turns by less than a half turn, so that its bulge stays below 1.
_MOST_SWEEP_RAD = 0.95 * np.pi
_BULGE_MOST = float(np.tan(_MOST_SWEEP_RAD / 4.0))


@dataclass(frozen=True, slots=True, eq=False)
class ArcRuns:
    """Vertices, and how the line runs from each to the next.

    Attributes
    ----------
    points_mm
        (M, 2) float.
    bulge
        (M,) float: tangent of a quarter of the angle that the arc from the vertex to the next one
        turns by, counter-clockwise positive; 0 for straight. An open line's last one is 0.
    """

    points_mm: Floats
    bulge: Floats

    def __post_init__(self) -> None:
        points = frozen_floats(self.points_mm, (None, 2), "points_mm")
        object.__setattr__(self, "points_mm", points)
        object.__setattr__(self, "bulge", frozen_floats(self.bulge, (len(points),), "bulge"))


def arc_runs(points_mm: Floats, *, closed: bool, within_mm: float) -> ArcRuns:
    """Return a polyline as straight runs and arcs that stray no further than ``within_mm``.

    Parameters
    ----------
    points_mm
        (N, 2) float: the polyline, a closed one without its first point repeated.
    within_mm
        How far an arc may lie from the polyline, at its corners and between them.

    Notes
    -----
    Vertices are corners of the polyline. Each run reaches as far as it can, found by doubling and
    halving its reach.
    """
    points = np.vstack([points_mm, points_mm[:1]]) if closed else np.asarray(points_mm)
    last = len(points) - 1
    starts, bulges = [0], []
    while starts[-1] < last:
        first = starts[-1]
        reach, bulge, step = 1, 0.0, 1
        while first + reach + step <= last:
            fitted = _fitted(points[first : first + reach + step + 1], within_mm)
            if fitted is None:
                break
            reach, bulge, step = reach + step, fitted, 2 * step
        while step > 1:
            step //= 2
            if first + reach + step <= last:
                fitted = _fitted(points[first : first + reach + step + 1], within_mm)
                if fitted is not None:
                    reach, bulge = reach + step, fitted
        starts.append(first + reach)
        bulges.append(bulge)
    if closed:
        return ArcRuns(points[starts[:-1]], np.array(bulges))
    return ArcRuns(points[starts], np.array([*bulges, 0.0]))


def _fitted(points: Floats, within_mm: float) -> float | None:
    """Return the bulge of the run from the first to the last point that fits all, or None."""
    chord = points[-1] - points[0]
    length = float(np.hypot(*chord))
    if length <= within_mm or (points[1:] == points[:-1]).all(axis=1).any():
        return None
    ahead = chord / length
    own = points - points[0]
    # Along the chord and to its right, where a run that turns counter-clockwise bulges out.
    x, y = own @ ahead, own @ np.array([ahead[1], -ahead[0]])
    between = (x[1:] > x[:-1] - within_mm).all()
    if between and np.abs(y).max() <= within_mm:
        return 0.0
    # The bulge of the circle through both ends and each point between, the middle ones' mean.
    inner = slice(1, -1)
    angle = np.arctan2(y[inner], x[inner]) + np.arctan2(y[inner], length - x[inner])
    far = np.hypot(x[inner], y[inner]) * np.hypot(x[inner] - length, y[inner])
    bulge = float(np.tan(0.5 * np.sum(far * angle) / np.sum(far)))
    if not 0.0 < abs(bulge) <= _BULGE_MOST:
        return None
    sweep = 4.0 * np.arctan(bulge)
    radius = 0.5 * length / np.sin(0.5 * sweep)
    centre = np.array([0.5 * length, -radius * np.cos(0.5 * sweep)])
    places = np.column_stack([x, y])
    # A step comes nearest to the centre at the foot of its perpendicular from there.
    step = np.diff(places, axis=0)
    share = np.sum((centre - places[:-1]) * step, axis=1) / np.sum(step * step, axis=1)
    feet = places[:-1] + np.clip(share, 0.0, 1.0)[:, None] * step
    off = np.hypot(*(np.vstack([places, feet]) - centre).T) - abs(radius)
    if np.abs(off).max() > within_mm:
        return None
    # The points must follow one another along the arc, not run to and fro on it.
    turned = np.unwrap(np.arctan2(centre[1] - y, x - centre[0])) * np.sign(bulge)
    steps = np.diff(turned)
    return bulge if (steps > 0).all() and steps.sum() < 2.0 * _MOST_SWEEP_RAD else None
