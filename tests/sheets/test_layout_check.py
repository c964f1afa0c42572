"""The check sees each thing that can be wrong."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest

from fitkit.sheets.layout_check import layout_faults
from fitkit.sheets.nesting import LaidSheet, Nesting, NestRules, PlacedPart
from fitkit.sheets.part_to_place import PartToPlace
from fitkit.sheets.stock_sheet import StockSheet
from tests.sheets.pieces import box, part, ring_mm, sheet

RULES = NestRules(gap_mm=3.0, margin_mm=5.0, turn_step_rad=np.pi / 2)


def codes(
    placed: Sequence[PlacedPart],
    stock: StockSheet,
    *,
    parts: Sequence[PartToPlace] | None = None,
    copy: int = 1,
) -> list[str]:
    asked = [one.part for one in placed] if parts is None else parts
    nesting = Nesting(RULES, (LaidSheet(stock, copy, tuple(placed)),))
    return [fault.code for fault in layout_faults(nesting, asked, [stock])]


def at(
    what: PartToPlace, x: float, y: float, turn: float = 0.0, *, mirrored: bool = False
) -> PlacedPart:
    return PlacedPart(what, np.array([x, y]), turn, mirrored)


def test_a_good_layout_has_no_fault() -> None:
    good = [at(box(100.0, 50.0, 1), 5.0, 5.0), at(box(100.0, 50.0, 2), 108.0, 5.0)]
    assert codes(good, sheet()) == []


def test_parts_too_close_one_in_the_other_and_over_the_edge() -> None:
    first = at(box(100.0, 50.0, 1), 5.0, 5.0)
    assert codes([first, at(box(100.0, 50.0, 2), 107.9, 5.0)], sheet()) == ["gap"]
    assert codes([first, at(box(10.0, 10.0, 2), 40.0, 20.0)], sheet()) == ["gap"]
    assert codes([at(box(100.0, 50.0, 1), 4.9, 5.0)], sheet()) == ["margin"]
    assert codes([at(box(100.0, 50.0, 1), 950.0, 5.0)], sheet()) == ["outside", "margin"]
    assert "outside" in codes([at(box(100.0, 50.0, 1), 2000.0, 5.0)], sheet())


def test_a_part_in_an_opening_is_no_fault_and_one_too_large_for_it_is() -> None:
    ring = at(part(ring_mm(100.0), 1, openings_mm=(ring_mm(60.0),)), 200.0, 200.0)
    assert codes([ring, at(part(ring_mm(50.0), 2), 200.0, 200.0)], sheet()) == []
    assert codes([ring, at(part(ring_mm(58.0), 2), 200.0, 200.0)], sheet()) == ["gap"]


def test_bad_zones_faces_turns_and_grain() -> None:
    bad = sheet(bad_zones_mm=(ring_mm(10.0) + 60.0,))
    assert codes([at(box(100.0, 50.0, 1), 5.0, 5.0)], bad) == ["bad-zone"]
    assert codes([at(box(100.0, 50.0, 1), 200.0, 5.0, mirrored=True)], sheet()) == ["mirrored"]
    assert codes([at(box(100.0, 50.0, 1), 200.0, 200.0, 0.1)], sheet()) == ["turned"]
    grained = box(100.0, 50.0, 1, grain_rad=0.0)
    along = sheet(grain_rad=np.pi / 2)
    assert codes([at(grained, 200.0, 200.0)], along) == ["turned"]
    assert codes([at(grained, 200.0, 200.0, np.pi / 2)], along) == []


def test_parts_missing_twice_or_changed_and_sheets_that_are_not_there() -> None:
    one, two = box(100.0, 50.0, 1), box(100.0, 50.0, 2)
    assert codes([at(one, 5.0, 5.0)], sheet(), parts=[one, two]) == ["part-missing"]
    assert "part-twice" in codes([at(one, 5.0, 5.0), at(one, 200.0, 5.0)], sheet(), parts=[one])
    assert codes([at(one, 5.0, 5.0)], sheet(), parts=[box(90.0, 50.0, 1)]) == ["part-unknown"]
    assert codes([at(one, 5.0, 5.0)], sheet(), copy=2) == ["sheet-not-there"]


def test_a_part_of_another_thickness_is_on_the_wrong_sheet() -> None:
    thick = PartToPlace(1, "part 1", box(1, 1).side, "card", 2.0, box(100.0, 50.0).outline_mm)
    assert codes([at(thick, 5.0, 5.0)], sheet()) == ["wrong-sheet"]


@pytest.mark.parametrize("off", [1e-9, 1e-7])
def test_rounding_is_no_fault(off: float) -> None:
    close = [at(box(100.0, 50.0, 1), 5.0, 5.0), at(box(100.0, 50.0, 2), 108.0 - off, 5.0)]
    assert codes(close, sheet()) == []
