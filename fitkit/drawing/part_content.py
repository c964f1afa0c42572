"""What a drawing covers, for deciding which pages it needs and where the page has room."""

from __future__ import annotations

import numpy as np
import shapely
from shapely import STRtree
from shapely.geometry.base import BaseGeometry

from fitkit.drawing.drawing import Drawing, Layer
from fitkit.drawing.line_style import centre_cross_arm_mm
from fitkit.drawing.text_width import words_box_mm
from fitkit.geometry.arrays import Floats

__all__ = ["PartContent", "extent_mm"]


def extent_mm(drawing: Drawing) -> Floats:
    """(2, 2) float mm: lowest and highest corner over everything drawn, words included."""
    corners = [drawing.bounds_mm()]
    corners += [words_box_mm(words) for words in drawing.words]
    points = np.concatenate(corners)
    return np.stack([points.min(axis=0), points.max(axis=0)])


class PartContent:
    """Answers whether and how much of a drawing lies in a region.

    The inside of the part's outline counts as content: a template is laid on the sheet as
    one piece, and a hole in it would leave it without hold.

    Attributes
    ----------
    lines, words
        What is drawn, holes as far out as their crosses reach, and what has to stay readable: the
        boxes of words, and filled areas such as a part's tag.
    """

    def __init__(self, drawing: Drawing) -> None:
        lines: list[BaseGeometry] = []
        areas: list[BaseGeometry] = []
        for stroke in drawing.strokes:
            ring = stroke.closed and len(stroke.points_mm) >= 3
            if stroke.closed:
                lines.append(
                    shapely.LineString(np.vstack([stroke.points_mm, stroke.points_mm[:1]]))
                )
            else:
                lines.append(shapely.LineString(stroke.points_mm))
            if ring and stroke.layer is Layer.CUT:
                areas.append(shapely.make_valid(shapely.Polygon(stroke.points_mm)))
        fills = [shapely.make_valid(shapely.Polygon(fill.points_mm)) for fill in drawing.fills]
        areas += fills
        areas += [
            shapely.Point(hole.centre_mm).buffer(hole.diameter_mm / 2.0) for hole in drawing.holes
        ]
        boxes = [shapely.Polygon(words_box_mm(words)) for words in drawing.words]
        areas += boxes
        self._all = STRtree([*lines, *areas])
        self._areas = areas
        lines += [
            shapely.Point(hole.centre_mm).buffer(centre_cross_arm_mm(hole)).exterior
            for hole in drawing.holes
        ]
        self.lines = shapely.MultiLineString(lines) if lines else shapely.MultiLineString()
        self.words = shapely.union_all([*boxes, *fills])

    def area(self) -> BaseGeometry:
        """Return all that is covered: outlines with their inside, holes, words, and the lines."""
        return shapely.union_all([*self._areas, self.lines])

    def touches(self, region: BaseGeometry) -> bool:
        """Whether anything, the inside of the outline included, lies in the region."""
        if region.is_empty:
            return False
        return len(self._all.query(region, predicate="intersects")) > 0
