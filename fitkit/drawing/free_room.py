"""What a page shows already, and where on it there is room for a rectangle more."""

from __future__ import annotations

import numpy as np
import shapely

from fitkit.geometry.arrays import Bools, Floats

__all__ = ["FreeRoom"]

_CELL_MM = 2.0


class FreeRoom:
    """A page's area in small cells, taken or free.

    Parameters
    ----------
    low_mm, high_mm
        (2,) float mm: the area in which something may be placed.
    drawn
        What is there already; nothing is placed over it or nearer to it than ``gap_mm``.
    """

    def __init__(
        self, low_mm: Floats, high_mm: Floats, drawn: shapely.Geometry, gap_mm: float
    ) -> None:
        self._low = np.asarray(low_mm, dtype=np.float64)
        counts = np.maximum(((high_mm - self._low) / _CELL_MM + 1e-9).astype(int), 0)
        x, y = (self._low[k] + _CELL_MM * (np.arange(counts[k]) + 0.5) for k in range(2))
        area = shapely.buffer(drawn, gap_mm + 0.71 * _CELL_MM)
        shapely.prepare(area)
        self._taken: Bools = shapely.contains_xy(area, *np.meshgrid(x, y, indexing="ij"))
        self._gap_mm = gap_mm
        self._sums = self._summed()

    def place(self, width_mm: float, height_mm: float) -> Floats | None:
        """Take the lowest free rectangle; return its lower left corner (2,) mm, or None."""
        size = np.ceil(np.array([width_mm, height_mm]) / _CELL_MM - 1e-9).astype(int)
        free_cells = self._taken.size - self._sums[-1, -1]
        if (size > self._taken.shape).any() or size.prod() > free_cells:
            return None
        (w, h), sums = size, self._sums
        met = sums[w:, h:] - sums[:-w, h:] - sums[w:, :-h] + sums[:-w, :-h]
        free = np.flatnonzero(met.T.ravel() == 0)
        if len(free) == 0:
            return None
        j, i = np.unravel_index(int(free[0]), met.T.shape)
        reach = int(np.ceil(self._gap_mm / _CELL_MM))
        self._taken[max(i - reach, 0) : i + w + reach, max(j - reach, 0) : j + h + reach] = True
        self._sums = self._summed()
        corner: Floats = self._low + _CELL_MM * np.array([i, j], dtype=np.float64)
        return corner

    def _summed(self) -> Floats:
        """(W + 1, H + 1) float: taken cells left of and below each."""
        sums = np.zeros(np.array(self._taken.shape) + 1)
        sums[1:, 1:] = self._taken.cumsum(axis=0).cumsum(axis=1)
        return sums
