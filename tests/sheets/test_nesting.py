from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fitkit.sheets.cut_list import cut_list, sheet_list, sums_in_words
from fitkit.sheets.nesting import LaidSheet, Nesting, NestRules, PlacedPart
from tests.sheets.pieces import box, part, sheet

CORNER = np.array([[0.0, 0.0], [30.0, 0.0], [0.0, 20.0]])


def test_a_mirrored_part_is_mirrored_then_turned_then_moved() -> None:
    placed = PlacedPart(part(CORNER), np.array([100.0, 50.0]), np.pi / 2, mirrored=True)
    assert placed.on_sheet(CORNER) == pytest.approx(
        np.array([[100.0, 50.0], [100.0, 20.0], [80.0, 50.0]])
    )
    assert placed.polygon().area == pytest.approx(300.0)
    assert placed.polygon().symmetric_difference(
        type(placed.polygon())(placed.outline_mm())
    ).area == pytest.approx(0.0)


def test_use_is_told_by_length_and_by_area() -> None:
    laid = LaidSheet(sheet(), 1, (PlacedPart(box(200.0, 100.0), np.array([50.0, 10.0])),))
    assert laid.used_length_mm == pytest.approx(250.0)
    assert laid.utilisation == pytest.approx(0.04)
    nesting = Nesting(NestRules(), (laid,))
    assert nesting.sheet_of(1) is laid
    assert nesting.sheet_of(2) is None


def test_grain_leaves_two_turns_and_none_where_the_sheet_has_no_grain() -> None:
    rules = NestRules(turn_step_rad=np.pi / 2)
    grained = box(10.0, 10.0, grain_rad=np.pi / 2)
    turns = rules.turns_rad(grained, sheet(grain_rad=0.0))
    assert turns == pytest.approx((np.pi / 2, 3 * np.pi / 2))
    assert rules.turns_rad(grained, sheet()) == pytest.approx(
        (0.0, np.pi / 2, np.pi, 3 * np.pi / 2)
    )
    assert NestRules().turns_rad(box(10.0, 10.0), sheet(grain_rad=0.0)) is None


def test_sums_tell_what_is_left_out_and_what_is_to_be_bought() -> None:
    """Two of 100 by 50 mm: one on a sheet that costs 8, one on what there was."""
    parts = [box(100.0, 50.0, 1), box(100.0, 50.0, 2)]
    bought = replace(sheet(name="new", quantity=None), price=8.0)
    had = sheet(name="had")
    laid = tuple(
        LaidSheet(stock, 1, (PlacedPart(part, np.zeros(2)),))
        for stock, part in zip((had, bought), parts, strict=True)
    )
    nesting = Nesting(NestRules(), laid)
    words = sums_in_words(cut_list(nesting, ()), sheet_list(nesting, ()), "EUR")
    assert words.startswith("In all 2 parts, 0.6 m cut, ")
    assert "What the parts take costs 8.00 EUR, 1 sheet without a price left out." in words
    assert words.endswith("To buy: 1 of new, 8.00 EUR.")
    short = replace(nesting, left_out=(box(900.0, 900.0, 3),))
    words = sums_in_words(cut_list(short, ()), sheet_list(short, ()), "")
    assert words.startswith("In all 3 parts (1 of them left out), ")
