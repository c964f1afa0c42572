"""Nesting against what can be counted by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fitkit.sheets.kept_places import PinnedPlace
from fitkit.sheets.layout_check import layout_faults
from fitkit.sheets.nest_parts import NestResult, nest_parts
from fitkit.sheets.nesting import Nesting, NestRules
from fitkit.sheets.part_to_place import PartToPlace
from fitkit.sheets.search_watch import SearchWatch
from fitkit.sheets.stock_sheet import StockSheet
from tests.sheets.pieces import box, part, ring_mm, sheet

RULES = NestRules(gap_mm=3.0, margin_mm=5.0)


def nested(
    parts: list[PartToPlace],
    stock: list[StockSheet],
    rules: NestRules = RULES,
    *,
    seconds: float = 0.0,
    start: Nesting | None = None,
    pinned: tuple[PinnedPlace, ...] = (),
) -> NestResult:
    result = nest_parts(parts, stock, rules, watch=SearchWatch(seconds), start=start, pinned=pinned)
    assert layout_faults(result.nesting, parts, result.stock) == ()
    return result


def test_squares_fill_a_sheet_that_has_little_to_spare() -> None:
    """Five by four squares of 97 mm, 3 mm apart and 5 mm from the edge, need 507 by 407 mm."""
    squares = [box(97.0, 97.0, n) for n in range(1, 21)]
    rules = replace(RULES, turn_step_rad=np.pi / 2)
    result = nested(squares, [sheet(510.0, 410.0)], rules)
    assert result.nesting.left_out == ()


def test_parts_go_on_the_fewest_sheets_in_the_order_of_the_stock() -> None:
    stock = [sheet(600.0, 400.0, name="offcut"), sheet(1000.0, 500.0, name="new", quantity=None)]
    result = nested([box(280.0, 180.0, n) for n in range(1, 9)], stock)
    used = [(laid.stock.name, laid.copy, len(laid.placed)) for laid in result.nesting.sheets]
    assert used == [("offcut", 1, 4), ("new", 1, 4)]


def test_an_offcut_told_first_is_used_first_also_when_parts_lie_elsewhere_already() -> None:
    """The smaller whole sheet would be less sheet in use."""
    boxes = [box(180.0, 80.0, n) for n in (1, 2)]
    whole = sheet(400.0, 200.0, name="whole")
    before = nested(boxes, [whole]).nesting
    result = nested(boxes, [sheet(600.0, 300.0, name="offcut"), whole], start=before)
    assert [laid.stock.name for laid in result.nesting.sheets] == ["offcut"]


def test_what_finds_no_room_is_left_out() -> None:
    result = nested([box(280.0, 180.0, n) for n in range(1, 7)], [sheet(600.0, 400.0)])
    assert [one.number for one in result.nesting.left_out] == [5, 6]


def test_a_disk_lies_in_the_opening_of_a_ring() -> None:
    ring = part(ring_mm(190.0), 1, openings_mm=(ring_mm(120.0),))
    parts = [ring, part(ring_mm(110.0), 2)]
    for seconds in (0.0, 1.0):
        result = nested(parts, [sheet(400.0, 400.0)], seconds=seconds)
        assert result.nesting.left_out == ()
        assert result.nesting.sheets[0].used_length_mm == pytest.approx(385.0, abs=1.0)


def test_a_bad_zone_stays_empty() -> None:
    dent = ring_mm(60.0) + np.array([300.0, 200.0])
    stock = [sheet(600.0, 400.0, bad_zones_mm=(dent,))]
    result = nested([box(120.0, 120.0, n) for n in range(1, 9)], stock, seconds=1.0)
    assert len(result.nesting.placed()) >= 7


def test_grain_runs_along_the_sheet_whatever_turns_are_free() -> None:
    grained = [box(200.0, 60.0, n, grain_rad=0.4) for n in range(1, 6)]
    result = nested(grained, [sheet(grain_rad=np.pi / 2)], seconds=1.0)
    for placed in result.nesting.placed():
        lean = (placed.turn_rad + 0.4 - np.pi / 2) % np.pi
        assert min(lean, np.pi - lean) < 1e-6


def test_a_sheet_whose_grain_is_not_told_is_named_with_the_parts_it_matters_to() -> None:
    parts = [box(180.0, 80.0, 1, grain_rad=0.0), box(180.0, 80.0, 2)]
    (finding,) = nested(parts, [sheet()]).findings
    assert (finding.code, finding.where) == ("grain-not-told", "card sheet")
    assert finding.message.endswith("lie anyhow to it: part 1.")
    assert nested(parts, [sheet(grain_rad=0.0)]).findings == ()


def test_a_mirrored_part_lies_only_where_there_is_no_face() -> None:
    """An L and its mirror image fill a rectangle only if one of two equal ones is turned over."""
    corner = np.array([[0, 0], [300, 0], [300, 20], [20, 20], [20, 200], [0, 200]], dtype=float)
    parts = [part(corner, 1), part(corner, 2)]
    rules = NestRules(2.0, 2.0, np.pi, mirrored=True)
    plain = nested(parts, [sheet(330.0, 240.0)], rules)
    faced = nested(parts, [sheet(330.0, 240.0, faced=True)], rules)
    assert not any(placed.mirrored for placed in faced.nesting.placed())
    assert len(plain.nesting.placed()) >= len(faced.nesting.placed())


def test_a_pinned_part_stays_and_the_rest_go_round_it() -> None:
    pin = PinnedPlace("part 3", "card sheet", 1, np.array([400.0, 150.0]), 0.3)
    result = nested([box(150.0, 100.0, n) for n in range(1, 10)], [sheet()], pinned=(pin,))
    held = next(one for one in result.nesting.placed() if one.part.number == 3)
    assert held.pinned
    assert held.shift_mm.tolist() == [400.0, 150.0]
    assert held.turn_rad == 0.3
    assert result.nesting.left_out == ()


def test_a_pin_over_the_edge_is_let_go_with_a_word() -> None:
    pin = PinnedPlace("part 1", "card sheet", 1, np.array([950.0, 150.0]))
    result = nested([box(150.0, 100.0, 1)], [sheet()], pinned=(pin,))
    assert [finding.code for finding in result.findings] == ["pin-let-go"]
    assert len(result.nesting.placed()) == 1


def test_an_earlier_layout_stays_where_it_lies_when_nothing_better_is_found() -> None:
    """It lies half a millimetre higher than what comes first, and reaches as far."""
    parts = [box(200.0, 140.0, n) for n in range(1, 7)]
    (laid,) = nested(parts, [sheet()]).nesting.sheets
    higher = [replace(one, shift_mm=one.shift_mm + np.array([0.0, 0.5])) for one in laid.placed]
    before = Nesting(RULES, (replace(laid, placed=tuple(higher)),))
    after = nested([*parts, box(60.0, 60.0, 7)], [sheet()], start=before).nesting
    places = {placed.part.number: placed.shift_mm.tolist() for placed in after.placed()}
    assert {number: places[number] for number in range(1, 7)} == {
        placed.part.number: placed.shift_mm.tolist() for placed in before.placed()
    }


def test_a_material_without_stock_takes_a_size_as_sold() -> None:
    result = nested([box(200.0, 140.0, 1)], [])
    assert result.nesting.sheets[0].stock.quantity is None
    assert result.nesting.sheets[0].stock.size_mm in {(1000.0, 700.0), (841.0, 594.0)}
    (note,) = result.findings
    assert note.code == "stock-not-told"
    sold = "{:.0f} × {:.0f}".format(*result.nesting.sheets[0].stock.size_mm)
    assert (
        note.message == f"The stock holds none of it: laid out on 1 of {sold} mm, as usually sold."
    )


def test_stock_of_the_same_kind_that_does_not_serve_is_named() -> None:
    thin = replace(sheet(), name="thin card", thickness_mm=0.5)
    (note,) = nested([box(200.0, 140.0, 1)], [thin]).findings
    assert note.message.endswith("Of what there is 'thin card' is card 0.5 mm.")


def test_stopped_before_it_began_it_still_lays_all_parts_out() -> None:
    parts = [box(100.0, 80.0, n) for n in range(1, 7)]
    watch = SearchWatch(60.0, cancelled=lambda: True)
    result = nest_parts(parts, [sheet()], RULES, watch=watch)
    assert len(result.nesting.placed()) == 6


def test_strips_pack_tighter_than_one_by_one_and_may_be_stopped_at_any_time() -> None:
    rng = np.random.default_rng(7)
    shapes = [ring_mm(r, 3 + k % 3) for k, r in enumerate(rng.uniform(30.0, 70.0, 24))]
    parts = [part(shape, n + 1) for n, shape in enumerate(shapes)]
    quick = nested(parts, [sheet()]).nesting
    found: list[Nesting] = []

    def tighter() -> bool:
        reach = found[-1].sheets[0].used_length_mm if found else np.inf
        return reach < quick.sheets[0].used_length_mm

    watch = SearchWatch(120.0, cancelled=tighter)
    result = nest_parts(parts, [sheet()], RULES, watch=watch, better=found.append)
    assert layout_faults(result.nesting, parts, result.stock) == ()
    assert tighter()
    assert result.nesting is found[-1]
