"""Pieces slid all at once: apart by shapely, the least way, and together as far as they go."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from shapely.affinity import translate

from fitkit.geometry.arrays import Floats, Ints
from fitkit.sheets.depth_tables import depth_tables
from fitkit.sheets.joint_slide import pressed, slid_apart
from fitkit.sheets.stock_sheet import rectangle_mm
from fitkit.sheets.strip_pieces import StripPieces
from tests.sheets.test_no_fit_polygon import DART, U_SHAPE

GAP = 1.0


def pieces_of(outlines: list[Floats], gap: float) -> StripPieces:
    """Return pieces of one turn each."""
    count = len(outlines)
    tables = depth_tables(outlines, [(0.0,)] * count, gap)
    boxes = np.array([[*shape.min(axis=0), *shape.max(axis=0)] for shape in outlines])
    return StripPieces(
        *tables,
        np.arange(count),
        np.ones(count, dtype=np.int64),
        boxes,
        (boxes[:, 2:] - boxes[:, :2]).min(axis=1),
        np.ones((count, count)),
    )


def least_distance(outlines: list[Floats], place: Floats) -> float:
    """Return how far the closest two are apart, less than nothing where they overlap."""
    lying = [translate(shapely.Polygon(o), *at) for o, at in zip(outlines, place, strict=True)]
    return min(
        -one.intersection(other).area if one.intersects(other) else one.distance(other)
        for k, one in enumerate(lying)
        for other in lying[:k]
    )


@pytest.fixture(scope="module")
def mixed() -> tuple[list[Floats], StripPieces, Ints]:
    outlines = [U_SHAPE, DART, U_SHAPE, DART, DART]
    return outlines, pieces_of(outlines, GAP), np.arange(5)


def test_two_boxes_share_the_least_way_apart() -> None:
    """30 by 20, over each other by 2: each goes 1, along x alone."""
    outlines = [rectangle_mm(30.0, 20.0)] * 2
    place = np.array([[10.0, 5.0], [38.0, 8.0]])
    assert slid_apart(pieces_of(outlines, 0.0), 200.0, 60.0, np.arange(2), place)
    assert place == pytest.approx(np.array([[9.0, 5.0], [39.0, 8.0]]), abs=0.01)
    assert place[1, 0] - place[0, 0] >= 30.0 - 1e-9


def test_pieces_close_over_each_other_come_apart_by_the_gap(
    mixed: tuple[list[Floats], StripPieces, Ints],
) -> None:
    """A row drawn together until all overlap, at ten random heights, in a strip with room."""
    outlines, pieces, turn = mixed
    rng = np.random.default_rng(4)
    lows = -pieces.boxes[:, :2]
    free = 0
    for _ in range(10):
        at = 60.0 + 38.0 * np.arange(5)
        place = lows + np.column_stack([at, rng.uniform(20.0, 40.0, 5)])
        assert least_distance(outlines, place) < GAP
        if slid_apart(pieces, 400.0, 120.0, turn, place):
            free += 1
            assert least_distance(outlines, place) >= GAP - 1e-6
            low, high = place + pieces.boxes[:, :2], place + pieces.boxes[:, 2:]
            assert (low >= -1e-9).all()
            assert (high <= [400.0, 120.0]).all()
    assert free >= 8


def test_what_cannot_come_apart_is_told() -> None:
    """Three boxes of 30 in a strip of their width take 90; a piece longer than the strip, none."""
    outlines = [rectangle_mm(30.0, 20.0)] * 3
    pieces = pieces_of(outlines, 0.0)
    start = np.array([[0.0, 0.0], [29.0, 0.0], [58.0, 0.0]])
    assert not slid_apart(pieces, 89.0, 20.0, np.arange(3), start.copy())
    assert not slid_apart(pieces, 29.0, 60.0, np.arange(3), start.copy())
    assert slid_apart(pieces, 91.0, 20.5, np.arange(3), start)


def test_a_loose_row_is_pressed_to_its_own_length() -> None:
    """Four boxes of 30 on 200: 120 at best, in a strip that holds no two beside each other."""
    outlines = [rectangle_mm(30.0, 20.0)] * 4
    place = np.array([[3.0, 1.0], [50.0, 4.0], [99.0, 0.0], [168.0, 6.0]])
    length = pressed(pieces_of(outlines, 0.0), 200.0, 30.0, np.arange(4), place)
    assert 120.0 <= length <= 120.2
    assert least_distance(outlines, place) >= 0.0
    assert (place[:, 0] + 30.0 <= length + 1e-9).all()


def test_pressing_keeps_the_gap(mixed: tuple[list[Floats], StripPieces, Ints]) -> None:
    outlines, pieces, turn = mixed
    place = -pieces.boxes[:, :2] + np.column_stack([70.0 * np.arange(5), np.full(5, 10.0)])
    assert least_distance(outlines, place) > GAP
    length = pressed(pieces, 400.0, 80.0, turn, place)
    assert length < 250.0
    assert least_distance(outlines, place) >= GAP - 1e-6
    assert ((place + pieces.boxes[:, 2:])[:, 0] <= length + 1e-9).all()
