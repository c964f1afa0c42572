"""Edges that are all but straight or round, offered as truly so."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitkit.drawing.arc_runs import ArcRuns, arc_runs
from fitkit.geometry.arrays import Floats

__all__ = ["EvenRun", "even_outline"]

# What a hand with a knife strays from a ruler (common practice, no source).
_WITHIN_MM = 0.4
_LEAST_MM = 25.0
# A rounder run is straight to the eye.
_STRAIGHT_MM = 4000.0
_STEP_RAD = 0.02
# Corners are told by the way's turn between this far before and behind.
_REACH = 6


@dataclass(frozen=True, slots=True)
class EvenRun:
    """A stretch of outline: its length, and its radius where it is an arc, 0 where straight."""

    length_mm: float
    radius_mm: float

    def in_words(self) -> str:
        """As offered to the maker."""
        kind = f"arc of radius {self.radius_mm:.0f} mm" if self.radius_mm else "straight"
        return f"{self.length_mm:.0f} mm {kind}"


def even_outline(outline_mm: Floats) -> tuple[Floats, tuple[EvenRun, ...]]:
    """Return an outline of straight runs and arcs within 0.4 mm, and its longer runs.

    Parameters
    ----------
    outline_mm
        (N, 2) float mm, closed, in even steps.

    Returns
    -------
    outline, runs
        The outline anew, (M, 2), and its runs of 25 mm and more, longest first.
    """
    ahead = np.roll(outline_mm, -_REACH, axis=0) - outline_mm
    behind = outline_mm - np.roll(outline_mm, _REACH, axis=0)
    turn = np.abs(
        np.arctan2(
            behind[:, 0] * ahead[:, 1] - behind[:, 1] * ahead[:, 0], np.sum(ahead * behind, axis=1)
        )
    )
    # From the sharpest corner on, so that no run is broken where the walk happens to begin.
    own = np.roll(outline_mm, -int(np.argmax(turn)), axis=0)
    told = arc_runs(own, closed=True, within_mm=_WITHIN_MM)
    return _drawn(told), _runs(told)


def _runs(told: ArcRuns) -> tuple[EvenRun, ...]:
    chord = np.linalg.norm(np.roll(told.points_mm, -1, axis=0) - told.points_mm, axis=1)
    half = 2.0 * np.arctan(np.abs(told.bulge))
    curved = half > 1e-9
    radius = np.where(curved, chord / (2.0 * np.sin(np.where(curved, half, 1.0))), 0.0)
    length = np.where(curved, 2.0 * half * radius, chord)
    radius = np.where(radius > _STRAIGHT_MM, 0.0, radius)
    order = np.argsort(-length)
    return tuple(
        EvenRun(float(length[k]), float(radius[k])) for k in order if length[k] >= _LEAST_MM
    )


def _drawn(told: ArcRuns) -> Floats:
    """Return the runs as points, arcs in small steps."""
    points: list[Floats] = []
    ends = np.roll(told.points_mm, -1, axis=0)
    for a, b, bulge in zip(told.points_mm, ends, told.bulge, strict=True):
        half = 2.0 * np.arctan(bulge)
        steps = max(1, int(np.ceil(2.0 * abs(half) / _STEP_RAD)))
        share = np.arange(steps) / steps
        if abs(half) < 1e-9:
            points.append(a[None])
            continue
        chord = b - a
        centre = 0.5 * (a + b) + np.array([-chord[1], chord[0]]) / (2.0 * np.tan(half))
        angle = 2.0 * half * share
        c, s = np.cos(angle), np.sin(angle)
        arm = a - centre
        points.append(centre + np.column_stack([c * arm[0] - s * arm[1], s * arm[0] + c * arm[1]]))
    return np.concatenate(points)
