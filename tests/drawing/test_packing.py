"""Rectangles that share a page keep their distance."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fitkit.drawing.packing import pack_rectangles
from fitkit.errors import DesignError

PAGE = (190.0, 269.0)
SIDES = st.tuples(st.floats(1.0, 189.0), st.floats(1.0, 189.0))


@settings(max_examples=60, deadline=None)
@given(st.lists(SIDES, min_size=1, max_size=14), st.booleans())
def test_nothing_overlaps_or_leaves_the_page(
    sizes: list[tuple[float, float]], may_turn: bool
) -> None:
    places = pack_rectangles(sizes, PAGE, gap_mm=8.0, may_turn=may_turn)
    boxes = []
    for (w, h), place in zip(sizes, places, strict=True):
        assert may_turn or not place.turned
        w, h = (h, w) if place.turned else (w, h)
        assert place.x_mm >= -1e-6
        assert place.y_mm >= -1e-6
        assert place.x_mm + w <= PAGE[0] + 1e-5
        assert place.y_mm + h <= PAGE[1] + 1e-5
        boxes.append((place.page, place.x_mm, place.y_mm, w, h))
    for (p, x, y, w, h), (q, X, Y, W, H) in itertools.combinations(boxes, 2):
        apart = max(X - x - w, x - X - W, Y - y - h, y - Y - H)
        assert p != q or apart >= 8.0 - 1e-5


def test_two_halves_and_the_gap_fill_one_page() -> None:
    """Two parts as wide as the page and half as high, less the gap, need exactly one page."""
    places = pack_rectangles([(190.0, 130.5)] * 2, PAGE, gap_mm=8.0)
    assert [p.page for p in places] == [0, 0]
    assert {p.y_mm for p in places} == {0.0, 138.5}


def test_a_quarter_turn_is_taken_where_only_that_fits() -> None:
    assert pack_rectangles([(250.0, 100.0)], PAGE)[0].turned


def test_parts_stay_upright_where_turning_saves_no_page() -> None:
    places = pack_rectangles([(120.0, 110.0), (110.0, 120.0)], PAGE)
    assert not any(place.turned for place in places)
    assert {place.page for place in places} == {0}


def test_parts_are_turned_where_that_saves_a_page() -> None:
    """Upright, 180 mm of the third part find no room below the other two; lying, 90 mm do."""
    places = pack_rectangles([(170.0, 150.0), (180.0, 90.0), (90.0, 180.0)], (190.0, 350.0))
    assert {place.page for place in places} == {0}
    assert places[2].turned


def test_a_part_larger_than_the_page_is_refused() -> None:
    with pytest.raises(DesignError, match="300 × 200 mm does not fit"):
        pack_rectangles([(300.0, 200.0)], PAGE)
