"""Strips of pieces in few turns: depths against shapely, layouts that hold, known optima."""

from __future__ import annotations

import math
import subprocess
import sys

import numpy as np
import pytest
import shapely
from shapely.affinity import translate

from fitkit.geometry.arrays import Floats
from fitkit.sheets import few_turns_strip
from fitkit.sheets.depth_tables import DepthTables, depth_tables
from fitkit.sheets.few_turns_strip import FewTurnsStrip
from fitkit.sheets.pair_depths import depths_of_all
from fitkit.sheets.stock_sheet import rectangle_mm
from fitkit.sheets.strip_pieces import StripPieces
from fitkit.sheets.strip_process import suits_few_turns
from tests.references.strip_instances import FU
from tests.sheets.test_no_fit_polygon import DART, U_SHAPE

HALF_TURN = (0.0, math.pi)


def placed_polygons(strip: FewTurnsStrip, outlines: list[Floats]) -> list[shapely.Polygon]:
    _, places = strip.placed()
    polygons = []
    for outline, (x, y, turn) in zip(outlines, places, strict=True):
        c, s = math.cos(turn), math.sin(turn)
        polygons.append(shapely.Polygon(outline @ np.array([[c, s], [-s, c]]) + [x, y]))
    return polygons


def squeeze(strip: FewTurnsStrip, length: float, workers: int = 1) -> None:
    """Squeeze until it is so short; the time is only for machines that are very busy."""
    for _ in strip.squeezed(600.0, workers):
        if strip.placed()[0] <= length:
            return


def assert_apart(polygons: list[shapely.Polygon], gap: float, width: float, length: float) -> None:
    for i, one in enumerate(polygons):
        x0, y0, x1, y1 = one.bounds
        assert min(x0, y0, width - y1, length - x1) >= gap - 1e-6
        for other in polygons[:i]:
            if gap > 0.0:
                assert one.distance(other) >= gap - 1e-6
            else:
                assert one.intersection(other).area <= 1e-6


def pieces_of(tables: DepthTables, count: int) -> StripPieces:
    kinds = np.arange(count)
    return StripPieces(
        *tables,
        kinds,
        np.ones(count, dtype=np.int64),
        np.zeros((count, 4)),
        np.ones(count),
        np.ones((count, count)),
    )


@pytest.mark.parametrize("gap", [0.0, 3.0])
def test_a_depth_is_the_least_shift_that_frees_two_outlines(gap: float) -> None:
    """By shapely: apart by the gap at depth 0; else freed by the depth some way, not by less."""
    pieces = pieces_of(depth_tables([U_SHAPE, DART], [(0.0,), (0.4,)], gap), 2)
    fixed = shapely.Polygon(U_SHAPE)
    c, s = math.cos(0.4), math.sin(0.4)
    other = shapely.Polygon(DART @ np.array([[c, s], [-s, c]]))
    around = np.linspace(0.0, 2.0 * math.pi, 240)
    ways = np.column_stack([np.cos(around), np.sin(around)])
    rng = np.random.default_rng(2)
    met = 0
    for shift in rng.uniform([-45.0, -30.0], [65.0, 60.0], size=(60, 2)):
        place = np.array([[0.0, 0.0], shift])
        depth = float(depths_of_all(pieces, np.array([0, 1]), place)[0, 1])
        lying = translate(other, *shift)
        if depth == 0.0:
            overlap = fixed.intersection(lying).area
            assert overlap <= 1e-9
            assert fixed.distance(lying) >= gap - 1e-6
            continue
        met += 1

        def freed(length: float, lying: shapely.Polygon = lying) -> bool:
            corners = shapely.get_coordinates(lying)
            moved = shapely.polygons(corners + length * ways[:, None, :])
            if gap > 0.0:
                return bool((shapely.distance(fixed, moved) >= gap).any())
            return bool((shapely.area(shapely.intersection(fixed, moved)) < 1e-9).any())

        # A cell of the table is 1.8 mm; the ways tried are 1.5 degrees apart.
        assert freed(1.01 * depth + 0.6)
        assert depth < 1.0 or not freed(0.98 * depth - 0.6)
    assert met > 10


def test_two_outlines_turned_by_half_share_a_table_that_tells_the_same() -> None:
    """All four ways two outlines lie to each other against tables made for that way alone."""
    outlines = [U_SHAPE, DART]
    both = depth_tables(outlines, [HALF_TURN, HALF_TURN], 1.0)
    # Of ten pairs: each outline with itself, and the two, lying alike and turned.
    assert len(both.frame) == 6
    shifts = np.random.default_rng(3).uniform([-45.0, -40.0], [45.0, 40.0], size=(40, 2))
    for one in range(4):
        for other in range(4):
            kinds = (one // 2, other // 2)
            turned = [outlines[kinds[0]] * (-1.0) ** one, outlines[kinds[1]] * (-1.0) ** other]
            alone = pieces_of(depth_tables(turned, [(0.0,), (0.0,)], 1.0), 2)
            shared = pieces_of(both, 4)._replace(share=alone.share)
            met = 0
            for shift in shifts:
                place = np.array([[0.0, 0.0], shift])
                told = depths_of_all(shared, np.array([one, other]), place)[0, 1]
                expected = depths_of_all(alone, np.array([0, 1]), place)[0, 1]
                # Cells lie otherwise in the two; depths well inside are interpolated in them.
                assert told == pytest.approx(expected, abs=0.6)
                assert (told == 0.0) == (expected == 0.0)
                met += expected > 0.0
            assert met > 3


def test_equal_boxes_fill_their_strip() -> None:
    """Twelve boxes of 30 by 20 in a strip of 60: 120 long at best; with a tenth more at once."""
    outlines = [rectangle_mm(30.0, 20.0)] * 12
    strip = FewTurnsStrip(outlines, [(0.0, 0.5 * math.pi)] * 12, width=60.0, gap=0.0, seed=3)
    squeeze(strip, 136.0)
    length, _ = strip.placed()
    assert 120.0 - 1e-6 <= length <= 136.0
    assert_apart(placed_polygons(strip, outlines), 0.0, 60.0, length)


def test_pieces_not_yet_apart_are_not_pressed(monkeypatch: pytest.MonkeyPatch) -> None:
    """Although all the time is for pressing, they are brought apart first."""
    monkeypatch.setattr(few_turns_strip, "_PRESSING_SHARE", 1.0)
    monkeypatch.setattr(few_turns_strip, "_ANNEALING_SHARE", 0.0)
    outlines = [rectangle_mm(30.0, 20.0)] * 4
    strip = FewTurnsStrip(outlines, [(0.0,)] * 4, width=60.0, gap=0.0, seed=1)
    squeeze(strip, 150.0)
    length, _ = strip.placed()
    assert 60.0 - 1e-6 <= length <= 150.0
    assert_apart(placed_polygons(strip, outlines), 0.0, 60.0, length)


def test_a_gap_is_kept_between_pieces_and_from_the_edges() -> None:
    """By two workers that go on from each other's best."""
    outlines = [U_SHAPE, DART, U_SHAPE, DART, DART]
    strip = FewTurnsStrip(outlines, [HALF_TURN] * 5, width=120.0, gap=3.0, seed=1)
    squeeze(strip, 140.0, workers=2)
    length, _ = strip.placed()
    assert length <= 140.0
    assert_apart(placed_polygons(strip, outlines), 3.0, 120.0, length)


def test_a_published_strip_comes_close_to_its_record() -> None:
    """Fu's twelve convex pieces: record 92.39 %; 85 % is met within a second."""
    outlines = list(FU.outlines)
    turns = [turn or (0.0,) for turn in FU.turns_rad]
    strip = FewTurnsStrip(outlines, turns, width=FU.width, gap=0.0, seed=1)
    goal = FU.area / (0.85 * FU.width)
    squeeze(strip, goal)
    length, _ = strip.placed()
    assert length <= goal
    assert FU.density(length) <= 0.9240
    assert_apart(placed_polygons(strip, outlines), 0.0, FU.width, length)


def test_a_piece_on_its_own_ends_at_its_own_length() -> None:
    """Nothing shorter is to be found than the piece, and the search does not wait for its time."""
    strip = FewTurnsStrip([rectangle_mm(80.0, 20.0)], [(0.0,)], width=50.0, gap=0.0, seed=1)
    squeeze(strip, 0.0, workers=2)
    assert strip.placed()[0] == pytest.approx(80.0, rel=2e-3)


def test_a_long_piece_lies_only_as_it_fits() -> None:
    outlines = [rectangle_mm(80.0, 20.0)] * 3
    strip = FewTurnsStrip(outlines, [(0.0, 0.5 * math.pi)] * 3, width=50.0, gap=0.0, seed=1)
    squeeze(strip, 200.0)
    assert {turn for _, _, turn in strip.placed()[1]} == {0.0}
    with pytest.raises(ValueError, match="wider"):
        FewTurnsStrip(outlines, [(0.5 * math.pi,)] * 3, width=50.0, gap=0.0, seed=1)


def test_pieces_that_may_turn_freely_or_are_too_many_are_left_to_others() -> None:
    rng = np.random.default_rng(0)
    outlines = [DART * rng.uniform(0.5, 2.0) for _ in range(60)]
    assert suits_few_turns([DART, U_SHAPE], [HALF_TURN, HALF_TURN], 10.0)
    assert not suits_few_turns([DART, U_SHAPE], [HALF_TURN, None], 10.0)
    assert not suits_few_turns(outlines, [HALF_TURN] * 60, 600.0)
    assert suits_few_turns([DART] * 60, [HALF_TURN] * 60, 10.0)
    assert not suits_few_turns([DART, U_SHAPE], [HALF_TURN, HALF_TURN], 0.01)


def test_all_loops_are_compiled_beforehand() -> None:
    """In a process of its own: a strip squeezed afterwards brings no kind of call of its own."""
    script = """
import numpy as np
from fitkit.sheets.few_turns_strip import FewTurnsStrip, compile_loops
from fitkit.sheets.joint_slide import pressed, slid_apart, slid_down
from fitkit.sheets.part_hops import hop_about
from fitkit.sheets.separation import separate

loops = [hop_about, separate, slid_apart, slid_down, pressed]
compile_loops()
known = [len(loop.signatures) for loop in loops]
outlines = [np.array([[0.0, 0.0], [30.0, 0.0], [20.0 + k, 20.0]]) for k in range(6)]
strip = FewTurnsStrip(outlines, [(0.0, 3.0)] * 6, width=60.0, gap=1.0, seed=1)
for _ in strip.squeezed(2.0):
    pass
print(0 not in known, known == [len(loop.signatures) for loop in loops])
"""
    told = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True)
    assert told.stdout.split() == ["True", "True"], told.stderr
