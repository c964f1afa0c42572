"""No-fit polygons against closed forms and against overlap itself."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from shapely.affinity import translate

from fitkit.geometry.arrays import Floats
from fitkit.sheets.no_fit_polygon import convex_pieces, no_fit_polygon
from fitkit.sheets.stock_sheet import rectangle_mm

U_SHAPE = np.array(
    [[0, 0], [60, 0], [60, 50], [45, 50], [45, 15], [15, 15], [15, 50], [0, 50]], dtype=float
)
DART = np.array([[0, 0], [40, 12], [0, 24], [11, 12]], dtype=float)


def test_two_rectangles_make_the_rectangle_of_their_sides() -> None:
    """(a + c) by (b + d): the Minkowski sum of two boxes."""
    area = no_fit_polygon([rectangle_mm(30.0, 20.0)], [rectangle_mm(7.0, 5.0)])
    assert area.equals(shapely.box(-7.0, -5.0, 30.0, 20.0))


def test_convex_pieces_are_convex_and_make_up_the_outline() -> None:
    pieces = [shapely.Polygon(piece) for piece in convex_pieces(U_SHAPE)]
    assert len(pieces) == 3
    for piece in pieces:
        assert piece.convex_hull.area == pytest.approx(piece.area, rel=1e-9)
    assert sum(piece.area for piece in pieces) == pytest.approx(shapely.Polygon(U_SHAPE).area)
    assert shapely.union_all(pieces).equals(shapely.Polygon(U_SHAPE))


def test_a_hollow_that_holds_the_other_stays_open() -> None:
    """A 20 mm box in a slot 30 by 35 mm open above: it may lie anywhere in 10 by 15, or above."""
    area = no_fit_polygon(convex_pieces(U_SHAPE), [rectangle_mm(20.0, 20.0)])
    assert not area.contains(shapely.Point(20.0, 20.0))
    assert not area.contains(shapely.Point(20.0, 45.0))
    assert area.contains(shapely.Point(20.0, 14.0))
    assert area.contains(shapely.Point(26.0, 20.0))


@pytest.mark.parametrize("moving", [U_SHAPE, DART], ids=["u", "dart"])
def test_inside_it_outlines_overlap_and_outside_they_do_not(moving: Floats) -> None:
    """500 random shifts against shapely's own intersection."""
    rng = np.random.default_rng(4)
    area = no_fit_polygon(convex_pieces(U_SHAPE), convex_pieces(moving))
    fixed, other = shapely.Polygon(U_SHAPE), shapely.Polygon(moving)
    x0, y0, x1, y1 = area.bounds
    inside = 0
    for x, y in rng.uniform([x0 - 5, y0 - 5], [x1 + 5, y1 + 5], size=(500, 2)):
        overlap = fixed.intersection(translate(other, x, y)).area
        within = area.contains(shapely.Point(x, y))
        inside += within
        assert within == (overlap > 0.0)
    assert 50 < inside < 450
