"""Pieces that hop: what no slide frees comes apart, by shapely, and strips get shorter."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely

from fitkit.geometry.arrays import Floats, Ints
from fitkit.sheets.few_turns_strip import FewTurnsStrip
from fitkit.sheets.joint_slide import pressed, slid_apart, slid_down
from fitkit.sheets.near_pairs import no_pairs
from fitkit.sheets.part_hops import hop_about
from fitkit.sheets.stock_sheet import rectangle_mm
from fitkit.sheets.strip_search import StripLying, StripSearch
from tests.references.strip_instances import FU
from tests.sheets.test_joint_slide import least_distance, pieces_of

# Two high and two low boxes, each pair in a column of its own, one column over full.
COLUMNS = [(30.0, 30.0), (30.0, 20.0), (30.0, 20.0), (30.0, 30.0)]
KIND, SIZE = np.array([0, 1, 1, 0]), np.log([900.0, 600.0, 600.0, 900.0])


def columns() -> tuple[list[Floats], Ints, Floats]:
    place = np.array([[0.0, 0.0], [30.5, 0.0], [30.5, 30.0], [0.0, 25.0]])
    return [rectangle_mm(*size) for size in COLUMNS], np.arange(4), place


def hopped(heat: float, hops: int) -> tuple[float, Floats]:
    """Return what hops leave of the columns in a strip of 61 by 50.5, and the best places."""
    outlines, turn, place = columns()
    pieces = pieces_of(outlines, 0.0)
    value = slid_down(pieces, 61.0, 50.5, turn, place, math.inf, no_pairs(4))
    best = place.copy()
    _, least = hop_about(
        pieces, KIND, SIZE, 61.0, 50.5, turn, place, value, turn.copy(), best, value, heat, hops,
        np.random.default_rng(1),
    )  # fmt: skip
    return least, best


def test_a_slide_tells_what_it_leaves() -> None:
    """Two boxes 2 over each other, held by both ends: springs of 4, 1 and 4 in a row give 2/3."""
    pieces = pieces_of([rectangle_mm(30.0, 20.0)] * 2, 0.0)
    place = np.array([[0.0, 0.0], [28.0, 0.0]])
    left = slid_down(pieces, 58.0, 20.0, np.arange(2), place, math.inf, no_pairs(2))
    # They are to end apart by a ten thousandth of their narrow side.
    assert left == pytest.approx(0.5 * 2.0 / 3.0 * 2.002**2, rel=1e-3)


def test_a_slide_without_prospect_is_given_up() -> None:
    pieces = pieces_of([rectangle_mm(30.0, 20.0)] * 2, 0.0)
    place = np.array([[0.0, 0.0], [28.0, 0.0]])
    for bound, given_up in ((1e-3, True), (1.0, True), (1.4, False)):
        left = slid_down(pieces, 58.0, 20.0, np.arange(2), place.copy(), bound, no_pairs(2))
        assert left > bound if given_up else left <= bound


def test_a_swap_frees_what_slides_cannot() -> None:
    outlines, turn, place = columns()
    assert not slid_apart(pieces_of(outlines, 0.0), 61.0, 50.5, turn, place)
    least, best = hopped(heat=0.5, hops=400)
    assert least == 0.0
    assert least_distance(outlines, best) >= 0.0
    assert (best >= -1e-9).all()
    assert (best + COLUMNS <= [61.0 + 1e-9, 50.5 + 1e-9]).all()


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_small_pieces_make_way_for_a_large_one(seed: int) -> None:
    """Two boxes 30 high overfill a column of 54.5, four of 12 the other one not.

    Only a large one in the place of two small ones, both of which go where it lay, leaves less: one
    small one for a large one, or any piece put over alone, overfills a column by more.
    """
    sizes = [(30.0, 30.0)] * 2 + [(30.0, 12.0)] * 4
    outlines = [rectangle_mm(*size) for size in sizes]
    pieces = pieces_of(outlines, 0.0)
    turn = np.arange(6)
    place = np.array([[0.0, 0.0], [0.0, 24.5]] + [[30.5, 12.0 * row] for row in range(4)])
    kind, size = np.array([0, 0, 1, 1, 1, 1]), np.log([900.0] * 2 + [360.0] * 4)
    value = slid_down(pieces, 61.0, 54.5, turn, place, math.inf, no_pairs(6))
    best = place.copy()
    _, least = hop_about(
        pieces, kind, size, 61.0, 54.5, turn, place, value, turn.copy(), best, value, 0.0, 2000,
        np.random.default_rng(seed),
    )  # fmt: skip
    assert least == 0.0
    assert least_distance(outlines, best) >= 0.0


def test_without_heat_hops_never_leave_more() -> None:
    outlines, turn, place = columns()
    pieces = pieces_of(outlines, 0.0)
    rng = np.random.default_rng(2)
    value = slid_down(pieces, 55.0, 48.0, turn, place, math.inf, no_pairs(4))
    best, best_turn, least = place.copy(), turn.copy(), value
    values = [value]
    for _ in range(30):
        value, least = hop_about(
            pieces, KIND, SIZE, 55.0, 48.0, turn, place, value, best_turn, best, least, 0.0, 20, rng
        )
        values.append(value)
    assert (np.diff(values) <= 1e-9).all()
    assert values[-1] < 0.5 * values[0]
    assert least == min(values)
    again = slid_down(pieces, 55.0, 48.0, best_turn, best.copy(), math.inf, no_pairs(4))
    assert again == pytest.approx(least, rel=0.02)


def fu_search(seed: int) -> tuple[StripSearch, StripLying]:
    turns = [turn or (0.0,) for turn in FU.turns_rad]
    strip = FewTurnsStrip(FU.outlines, turns, width=FU.width, gap=0.0, seed=seed)
    search = StripSearch(
        strip.pieces, strip.kind, strip.area, strip.width, np.random.default_rng(seed)
    )
    return search, next(search.go_on(lambda _: True))


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_annealed_strips_are_shorter_than_pressed_ones_and_hold(seed: int) -> None:
    """Fu's twelve pieces from strewn: twenty thousand hops, cooling by their count."""
    search, first = fu_search(seed)
    slid = first.place.copy()
    alone = pressed(search.pieces, first.length, search.width, first.turn, slid)
    calls = 0

    def goes_on(_: float) -> bool:
        nonlocal calls
        calls += 1
        return calls <= 100

    strips = list(search.anneal(goes_on, lambda: calls / 100))
    lengths = [first.length, *(one.length for one in strips)]
    assert (np.diff(lengths) < 0.0).all()
    assert lengths[-1] < 0.97 * alone
    assert 0.80 < FU.density(lengths[-1]) <= 0.9240
    last = strips[-1]
    assert search.best == last
    kinds = search.pieces.first_turn
    polygons = []
    for outline, turns, first_turn, turn, at in zip(
        FU.outlines, FU.turns_rad, kinds, last.turn, last.place, strict=True
    ):
        angle = (turns or (0.0,))[turn - first_turn]
        c, s = math.cos(angle), math.sin(angle)
        polygons.append(shapely.Polygon(outline @ np.array([[c, s], [-s, c]]) + at))
    assert shapely.union_all(polygons).area >= (1.0 - 1e-9) * FU.area
    x0, y0, x1, y1 = shapely.total_bounds(polygons)
    assert min(x0, y0, last.length - x1, FU.width - y1) >= -1e-6
