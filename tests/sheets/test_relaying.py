"""Sheets that no strip can fill get better while there is time."""

from __future__ import annotations

import numpy as np
import pytest

from fitkit.sheets.kept_places import PinnedPlace
from fitkit.sheets.layout_check import layout_faults
from fitkit.sheets.nest_parts import nest_parts
from fitkit.sheets.nesting import Nesting, NestRules
from fitkit.sheets.search_watch import SearchWatch
from fitkit.sheets.stock_sheet import StockSheet, rectangle_mm
from tests.sheets.pieces import box

RULES = NestRules(gap_mm=0.0, margin_mm=0.0, turn_step_rad=np.pi)
# As wide as the sheet; the largest first, each where there is room, leaves the last one out:
# 60 + 40, 40 + 40 + 30. All lie on two of 120 as 60 + 30 + 30 and 40 + 40 + 40.
PARTS = [box(long, 100.0, number) for number, long in enumerate((60, 40, 40, 40, 30, 30), 1)]

CUT_CORNER = np.array([[0.0, 0], [141, 0], [141, 10], [121, 10], [121, 100], [0, 100]])


def stock(kind: str) -> StockSheet:
    if kind == "odd outline":
        return StockSheet(kind, "card", 1.0, CUT_CORNER, 2)
    if kind == "bad zone":
        bad = rectangle_mm(20.0, 100.0) + np.array([121.0, 0.0])
        return StockSheet(kind, "card", 1.0, rectangle_mm(141.0, 100.0), 2, (bad,))
    return StockSheet(kind, "card", 1.0, rectangle_mm(121.0, 100.0), 2)


@pytest.mark.parametrize("kind", ["odd outline", "bad zone", "pinned"])
def test_what_was_left_out_finds_room_once_others_are_laid_anew(kind: str) -> None:
    """Two bins of 120 hold 60, 40, 40, 40, 30, 30; taken largest first they do not."""
    row = stock(kind)
    pins = [PinnedPlace("part 1", kind, 1, np.array([0.5, 0.0]))] if kind == "pinned" else []
    first = nest_parts(PARTS, [row], RULES, watch=SearchWatch(0.0), pinned=pins).nesting
    assert len(first.left_out) == 1

    found: list[Nesting] = []
    # Over as soon as all have room, however long that takes.
    watch = SearchWatch(120.0, lambda: bool(found) and not found[-1].left_out)
    result = nest_parts(
        PARTS, [row], RULES, watch=watch, start=first, pinned=pins, better=found.append
    )
    assert not result.nesting.left_out
    assert not layout_faults(result.nesting, PARTS, result.stock)
    stays = [one for one in result.nesting.placed() if one.pinned]
    assert [tuple(one.shift_mm) for one in stays] == [(0.5, 0.0)] * len(pins)
