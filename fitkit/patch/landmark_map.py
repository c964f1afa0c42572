"""From one body to another by their landmarks: heights by levels, places by all landmarks."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from scipy.interpolate import RBFInterpolator

from fitkit.body.body import Landmark
from fitkit.errors import DesignError
from fitkit.geometry.arrays import Floats

__all__ = ["LandmarkMap"]

_FEWEST = 4
# Landmarks of one level differ by this much between scans of one wearer; nearer levels say nothing.
_APART_MM = 25.0
_WAYS = ("front", "back", "left", "right")


class LandmarkMap:
    """Where the places of one body lie on another.

    Heights go by the levels that both bodies' landmarks tell (hip, waist, chest, armpits, neck,
    top and bottom), in straight proportion between two levels and beyond the last. Places in
    space go by the smoothest map that takes every landmark to its own: exact for a body that
    is only larger or moved.

    Parameters
    ----------
    here, there
        Landmarks by name; those that both have are used.

    Raises
    ------
    DesignError
        When the two share fewer than four landmarks, or fewer than two levels.

    References
    ----------
    F. Bookstein, "Principal warps: thin-plate splines and the decomposition of deformations",
    IEEE Transactions on Pattern Analysis and Machine Intelligence 11 (1989); in space the spline
    is the distance itself (biharmonic), with an affine part.
    """

    def __init__(self, here: Mapping[str, Landmark], there: Mapping[str, Landmark]) -> None:
        shared = [name for name in here if name in there]
        if len(shared) < _FEWEST:
            raise DesignError(
                f"The two bodies share {len(shared)} landmarks "
                f"({', '.join(shared) or 'none'}): too few to carry a design by.",
                "Put landmarks right under [body.landmarks] so that both bodies have them.",
            )
        own = np.array([here[name].at_mm for name in shared])
        other = np.array([there[name].at_mm for name in shared])
        self.shared = tuple(shared)
        self.scale = _spread(other) / _spread(own)
        self._heights = _levels(shared, own[:, 2], other[:, 2], here)
        if len(self._heights[0]) < 2:
            raise DesignError(
                "The two bodies' landmarks lie on fewer than two common levels.",
                "Put landmarks right under [body.landmarks] so that both bodies have more of them.",
            )
        # Landmarks that lie in a plane leave the affine part open; the bodies' spread closes it.
        self._middle = own.mean(axis=0)
        extra = np.vstack([np.eye(3), -np.eye(3)]) * 3.0 * _spread(own)
        held = other.mean(axis=0) + self.scale * extra
        self._map = RBFInterpolator(
            np.vstack([own, self._middle + extra]),
            np.vstack([other, held]),
            kernel="linear",
            degree=1,
        )

    def height_mm(self, height_mm: float) -> float:
        """Return the height on the other body of a height on the first."""
        here, there = self._heights
        at = int(np.clip(np.searchsorted(here, height_mm) - 1, 0, len(here) - 2))
        share = (height_mm - here[at]) / (here[at + 1] - here[at])
        return float(there[at] + share * (there[at + 1] - there[at]))

    def point_mm(self, points_mm: Floats) -> Floats:
        """(N, 3) float mm: places on the other body of (N, 3) places on the first."""
        mapped: Floats = self._map(np.atleast_2d(points_mm))
        return mapped


def _spread(points: Floats) -> float:
    return float(np.sqrt(((points - points.mean(axis=0)) ** 2).sum(axis=1).mean()))


def _levels(
    names: list[str], own: Floats, other: Floats, here: Mapping[str, Landmark]
) -> tuple[Floats, Floats]:
    """Heights of the common levels on both bodies, ascending on both."""
    rows: dict[str, list[int]] = {}
    for index, name in enumerate(names):
        first, _, rest = name.partition(" ")
        rows.setdefault(rest if first in _WAYS and rest else name, []).append(index)
    trust = {level: max(here[names[i]].confidence for i in at) for level, at in rows.items()}
    means = {level: (own[at].mean(), other[at].mean()) for level, at in rows.items()}
    chosen: list[tuple[float, float]] = []
    # The surest first; one that would turn the order round, or lies on another, is left out.
    for level in sorted(rows, key=lambda level: (-trust[level], level)):
        a, b = means[level]
        if all(
            abs(a - c) > _APART_MM and abs(b - d) > 0.5 * _APART_MM and (a > c) == (b > d)
            for c, d in chosen
        ):
            chosen.append((float(a), float(b)))
    pairs = np.array(sorted(chosen)).reshape(-1, 2)
    return pairs[:, 0], pairs[:, 1]
