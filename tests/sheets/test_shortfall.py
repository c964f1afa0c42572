"""What the maker is told when it does not fit; every remedy named is carried out here."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fitkit.findings import Finding, Severity
from fitkit.sheets.nest_parts import nest_parts
from fitkit.sheets.nesting import NestRules
from fitkit.sheets.part_to_place import PartToPlace
from fitkit.sheets.search_watch import SearchWatch
from fitkit.sheets.shortfall import shortfall_findings
from fitkit.sheets.stock_sheet import StockSheet
from tests.sheets.pieces import box, sheet

RULES = NestRules(gap_mm=3.0, margin_mm=5.0, turn_step_rad=np.pi / 2)


def told(parts: list[PartToPlace], stock: list[StockSheet]) -> tuple[Finding, ...]:
    result = nest_parts(parts, stock, RULES, watch=SearchWatch(0.0))
    return shortfall_findings(result.nesting, stock, watch=SearchWatch(2.0))


def test_short_by_so_much_and_a_thinner_gap_would_do() -> None:
    """Two by two boxes of 195 by 145 mm need 403 by 303 mm at 3 mm, but 402 at 2 mm."""
    boxes = [box(195.0, 145.0, n) for n in range(1, 5)]
    stock = [sheet(402.5, 303.5)]
    (finding,) = told(boxes, stock)
    assert finding.severity is Severity.STOP
    assert "short by 0.03 m²; this part is left: part 4." in finding.message
    assert finding.remedy.startswith("A thinner gap of 2 mm would do; or one more sheet of")
    thinner = replace(RULES, gap_mm=2.0)
    laid = nest_parts(boxes, stock, thinner, watch=SearchWatch(0.0)).nesting
    assert laid.left_out == ()


def test_one_more_sheet_would_do() -> None:
    boxes = [box(280.0, 180.0, n) for n in range(1, 4)]
    (finding,) = told(boxes, [sheet(300.0, 200.0, quantity=1)])
    assert "these 2 parts are left" in finding.message
    assert finding.remedy == "2 more sheets of 300 × 200 mm."


def test_a_part_larger_than_any_sheet_is_named_with_what_would_do() -> None:
    (finding,) = told([box(900.0, 80.0, 1)], [sheet(600.0, 300.0)])
    assert finding.where == "part 1"
    assert "900 × 80 mm" in finding.message
    assert "'card sheet', is 600 × 300 mm" in finding.message
    assert finding.remedy.startswith("A sheet of 1000 × 700 mm would do; or split it")


def test_a_part_larger_than_anything_sold_is_to_be_split() -> None:
    (finding,) = told([box(1900.0, 900.0, 1)], [sheet(600.0, 300.0)])
    assert (
        finding.remedy == "No usual sheet holds it: split it with: fitkit patch split JOB 'part 1'."
    )


def test_nothing_is_said_where_all_lie() -> None:
    assert told([box(100.0, 80.0, 1)], [sheet()]) == ()
