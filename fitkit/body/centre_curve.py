"""The smooth middle of a part of the body along a straight direction."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import gaussian_filter1d

from fitkit.geometry.arrays import Floats

__all__ = ["CentreCurve"]

_BIN_MM = 8.0


@dataclass(frozen=True, slots=True, eq=False)
class CentreCurve:
    """Middle points of slices square to a direction.

    Attributes
    ----------
    direction
        (3,) float, unit.
    along_mm
        (N,) float mm, rising: distance of each slice from the origin along the direction.
    points_mm
        (N, 3) float mm.
    """

    direction: Floats
    along_mm: Floats
    points_mm: Floats

    @classmethod
    def through(
        cls, points_mm: Floats, weights: Floats, direction: Floats, *, smooth_mm: float
    ) -> CentreCurve:
        """Return the weighted means of slices of surface points, smoothed along the direction."""
        unit = direction / np.linalg.norm(direction)
        along = points_mm @ unit
        low, high = float(along.min()), float(along.max())
        count = max(4, int((high - low) / _BIN_MM))
        which = np.minimum(((along - low) / (high - low) * count).astype(int), count - 1)
        total = np.bincount(which, weights=weights, minlength=count)
        middle = np.stack(
            [np.bincount(which, weights=weights * x, minlength=count) for x in points_mm.T], axis=1
        )
        held = total > 0
        at = low + (np.arange(count) + 0.5) / count * (high - low)
        sigma = smooth_mm / ((high - low) / count)
        columns = []
        for column in range(3):
            values = np.interp(at, at[held], middle[held, column] / total[held])
            columns.append(gaussian_filter1d(values, sigma, mode="nearest"))
        points = np.stack(columns, axis=1)
        # Each middle lies in its own slice.
        points += (at - points @ unit)[:, np.newaxis] * unit
        return cls(unit, at, points)

    def at(self, points_mm: Floats) -> Floats:
        """(N, 3) float mm: the middle of the slice that each point lies in."""
        along = points_mm @ self.direction
        return np.stack([np.interp(along, self.along_mm, x) for x in self._square.T], axis=1) + (
            along[:, np.newaxis] * self.direction
        )

    @property
    def _square(self) -> Floats:
        return self.points_mm - self.along_mm[:, np.newaxis] * self.direction
