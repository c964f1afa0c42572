"""Room on a part for words: what is inside, clear of lines and not yet taken."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import shapely

from fitkit.geometry.arrays import Floats

__all__ = ["FreeSpace"]

# Nothing to be read comes nearer than this to a line or to other words.
_GAP_MM = 1.5


class FreeSpace:
    """The area of a part in which words may stand.

    Parameters
    ----------
    area
        Polygons in which words may stand.
    margin_mm
        Distance that words keep from their edges.
    """

    def __init__(self, area: shapely.Geometry, margin_mm: float) -> None:
        # A tenth of a millimetre of outline detail matters to no word.
        self._keep(area.buffer(-margin_mm).simplify(0.1))

    def _keep(self, free: shapely.Geometry) -> None:
        self._free = free
        # Asked for every size of letter.
        self._bounds, self._area = free.bounds, free.area

    def take(self, shapes: Iterable[shapely.Geometry], gap_mm: float = _GAP_MM) -> None:
        """Use up the room of some shapes and a gap round them."""
        self.take_alike([self], shapes, gap_mm)

    @staticmethod
    def take_alike(
        spaces: Iterable[FreeSpace], shapes: Iterable[shapely.Geometry], gap_mm: float = _GAP_MM
    ) -> None:
        """Use up the room of some shapes and a gap round them in several spaces."""
        taken = [shape.buffer(gap_mm) for shape in shapes]
        if taken:
            whole = shapely.union_all(taken)
            for space in spaces:
                space._keep(shapely.difference(space._free, whole))

    def without(self, shapes: Iterable[shapely.Geometry], gap_mm: float = _GAP_MM) -> FreeSpace:
        """Return a copy in which the shapes' room is used up as well."""
        copy = object.__new__(FreeSpace)
        copy._keep(self._free)
        copy.take(shapes, gap_mm)
        return copy

    def first_fit(self, boxes: Floats) -> int | None:
        """Return which of the boxes (N, 4, 2) is the first that fits, if any does."""
        if len(boxes) == 0 or self._free.is_empty:
            return None
        shapely.prepare(self._free)
        fits = shapely.contains(self._free, shapely.polygons(boxes))
        return int(np.argmax(fits)) if fits.any() else None

    def roomiest_centre(self, width_mm: float, height_mm: float) -> Floats | None:
        """Return where the middle of an upright rectangle stands with most room about it.

        The rectangle is grown as far as it will go in place; among the places tried the one where
        it can grow most is taken.
        """
        if self._too_small_for(width_mm, height_mm):
            return None
        centres = self._centres(max(4.0, min(width_mm, height_mm) / 2.0))
        if len(centres) == 0:
            return None
        best = None
        shapely.prepare(self._free)
        for growth in (1.0, 1.25, 1.5, 2.0, 2.5, 3.0):
            boxes = _boxes(centres, growth * width_mm, growth * height_mm)
            fits = np.asarray(shapely.contains(self._free, shapely.polygons(boxes)))
            if not fits.any():
                break
            centres = centres[fits]
            best = centres
        if best is None:
            return None
        # The one nearest to the middle of those that fit, so that equal rooms give a calm page.
        middle = best.mean(axis=0)
        chosen: Floats = best[int(np.argmin(np.linalg.norm(best - middle, axis=1)))]
        return chosen

    def _too_small_for(self, width_mm: float, height_mm: float) -> bool:
        """Whether a rectangle is wider, higher or larger than all that is free."""
        if self._area == 0.0:
            return True
        low_x, low_y, high_x, high_y = self._bounds
        return bool(
            width_mm > high_x - low_x
            or height_mm > high_y - low_y
            or width_mm * height_mm > self._area
        )

    def _centres(self, step_mm: float) -> Floats:
        low_x, low_y, high_x, high_y = self._bounds
        step = max(step_mm, float(np.sqrt((high_x - low_x) * (high_y - low_y) / 4000.0)))
        x, y = np.meshgrid(
            np.arange(low_x + 0.25 * step, high_x, step),
            np.arange(low_y + 0.25 * step, high_y, step),
        )
        points = np.column_stack([x.ravel(), y.ravel()])
        shapely.prepare(self._free)
        inside: Floats = points[shapely.contains_xy(self._free, points[:, 0], points[:, 1])]
        return inside


def _boxes(centres: Floats, width_mm: float, height_mm: float) -> Floats:
    half = 0.5 * np.array([width_mm, height_mm])
    signs = np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])
    boxes: Floats = centres[:, None, :] + signs[None] * half
    return boxes
