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


def told(
    parts: list[PartToPlace], stock: list[StockSheet], **how_to_divide: str
) -> tuple[Finding, ...]:
    result = nest_parts(parts, stock, RULES, watch=SearchWatch(0.0))
    return shortfall_findings(
        result.nesting, stock, watch=SearchWatch(2.0), how_to_divide=how_to_divide
    )


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
    assert finding.remedy == "A sheet of 1000 × 700 mm would do."


def test_a_part_larger_than_anything_sold_is_to_be_divided() -> None:
    large, stock = box(1900.0, 900.0, 1), [sheet(600.0, 300.0)]
    (finding,) = told([large], stock, **{"part 1": "fitkit patch split heron 'part 1'"})
    assert (
        finding.remedy
        == "No usual sheet holds it: divide it with: fitkit patch split heron 'part 1'."
    )
    (strap,) = told([large], stock)
    assert strap.remedy == "No usual sheet holds it: make it in pieces, or shorter."


def test_a_part_that_only_the_edge_margin_keeps_off_is_told_so() -> None:
    """595 mm need 605 mm with 5 mm at either edge, 601 with 3 and 599 with 2."""
    tight, stock = box(595.0, 200.0, 1), [sheet(600.0, 300.0)]
    (finding,) = told([tight], stock)
    assert "no sheet in the stock holds it with 5 mm to every edge" in finding.message
    assert finding.remedy.startswith("An edge margin of 2 mm would do; or a sheet of")
    narrower = replace(RULES, margin_mm=2.0)
    assert not nest_parts([tight], stock, narrower, watch=SearchWatch(0.0)).nesting.left_out


def test_a_part_that_only_its_grain_keeps_off_is_told_so() -> None:
    """Upright grain on a sheet whose grain runs along it: 250 mm have to go into 200."""
    upright = replace(box(250.0, 150.0, 1), grain_rad=np.pi / 2)
    (finding,) = told([upright], [sheet(300.0, 200.0, grain_rad=0.0)])
    assert "to every edge and its grain along the sheet's; any way round 'card sheet', " in (
        finding.message
    )
    assert finding.remedy.startswith("Let it lie any way, without a grain; or ")
    assert told([replace(upright, grain_rad=None)], [sheet(300.0, 200.0, grain_rad=0.0)]) == ()


def test_a_sheet_of_odd_outline_is_not_told_as_a_whole_one() -> None:
    corners = [[0, 0], [400, 0], [400, 100], [100, 100], [100, 400], [0, 400]]
    angle = replace(sheet(), outline_mm=np.array(corners, dtype=np.float64))
    (finding,) = told([box(180.0, 170.0, 1)], [angle])
    assert "is 400 × 400 mm over all, but no whole rectangle." in finding.message


def test_nothing_is_said_where_all_lie() -> None:
    assert told([box(100.0, 80.0, 1)], [sheet()]) == ()
