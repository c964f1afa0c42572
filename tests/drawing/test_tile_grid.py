"""Tiles cover all of a part, and no tile is printed for nothing."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fitkit.drawing.drawing import Drawing, Layer, Stroke, Words
from fitkit.drawing.text_width import words_box_mm
from fitkit.drawing.tile_grid import TileGrid, cover_with_tiles, tile_name
from tests.drawing.example_parts import plate

TILE = (190.0, 269.0)


def rectangle(width: float, height: float) -> Drawing:
    corners = np.array([[0.0, 0.0], [width, 0.0], [width, height], [0.0, height]])
    return Drawing("rectangle", strokes=(Stroke(corners, Layer.CUT, closed=True),))


def uncovered(part: Drawing, grid: TileGrid) -> int:
    """Count stroke points that lie in no window."""
    placed = part.moved(np.zeros(2), turn_rad=np.pi / 2) if grid.turned else part
    points = np.concatenate([s.points_mm for s in placed.strokes])
    seen = np.zeros(len(points), dtype=bool)
    for low, high in grid.windows_mm.values():
        seen |= ((points >= low) & (points <= high)).all(axis=1)
    return int((~seen).sum())


@settings(max_examples=12, deadline=None)
@given(st.floats(195.0, 700.0), st.floats(275.0, 700.0), st.floats(0.0, 6.0))
def test_every_point_is_on_some_tile(width: float, height: float, waves: float) -> None:
    part = plate("plate", width, height, points=600, waves=waves)
    assert uncovered(part, cover_with_tiles(part, tile_mm=TILE, overlap_mm=10.0)) == 0


def test_neighbours_share_exactly_the_overlap() -> None:
    windows = cover_with_tiles(rectangle(360, 520), tile_mm=TILE, overlap_mm=10.0).windows_mm
    assert set(windows) == {(0, 0), (0, 1), (1, 0), (1, 1)}
    assert windows[0, 0][1, 0] - windows[0, 1][0, 0] == pytest.approx(10.0)
    assert windows[1, 0][1, 1] - windows[0, 0][0, 1] == pytest.approx(10.0)


def test_the_part_is_turned_where_that_saves_tiles() -> None:
    """500 × 180 mm upright needs 3 tiles of 190 × 269 side by side, turned only 2."""
    grid = cover_with_tiles(rectangle(500, 180), tile_mm=TILE, overlap_mm=10.0)
    assert grid.turned
    assert len(grid.windows_mm) == 2
    assert not cover_with_tiles(rectangle(180, 500), tile_mm=TILE, overlap_mm=10.0).turned


def test_tiles_with_nothing_to_show_are_left_out() -> None:
    """The corner that an L-shaped part leaves free needs no paper."""
    bend = np.array([[0, 0], [540, 0], [540, 100], [100, 100], [100, 780], [0, 780]], dtype=float)
    part = Drawing("bend", strokes=(Stroke(bend, Layer.CUT, closed=True),))
    grid = cover_with_tiles(part, tile_mm=TILE, overlap_mm=10.0)
    assert uncovered(part, grid) == 0
    assert len(grid.windows_mm) <= 5


def test_words_are_not_cut_apart_where_the_grid_can_be_moved() -> None:
    """Words in the very middle of a part of two tiles would lie on the join of a centred grid."""
    words = Words("breastplate", np.array([80.0, 200.0]), 5.0)
    part = replace(rectangle(180.0, 400.0), words=(words,))
    grid = cover_with_tiles(part, tile_mm=TILE, overlap_mm=10.0)
    box = words_box_mm(words)
    assert len(grid.windows_mm) == 2
    assert any((box >= low).all() and (box <= high).all() for low, high in grid.windows_mm.values())


def test_tiles_inside_the_outline_are_kept_to_hold_the_template_together() -> None:
    grid = cover_with_tiles(rectangle(540, 780), tile_mm=TILE, overlap_mm=10.0)
    assert (1, 1) in grid.windows_mm
    assert len(grid.windows_mm) == 9


@pytest.mark.parametrize(
    ("row", "column", "name"), [(0, 0, "A1"), (2, 3, "C4"), (25, 0, "Z1"), (26, 9, "AA10")]
)
def test_rows_are_letters_and_columns_numbers(row: int, column: int, name: str) -> None:
    assert tile_name(row, column) == name
