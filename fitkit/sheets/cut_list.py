"""What is cut: every part with its area, length of cut, mass, holes and cost, every sheet's use."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from fitkit.materials.sheet_material import sheet_material_named
from fitkit.sheets.nesting import LaidSheet, Nesting
from fitkit.sheets.offcuts import Offcut
from fitkit.sheets.part_to_place import PartToPlace

__all__ = ["CutRow", "SheetRow", "cut_list", "sheet_list", "sums_in_words"]


@dataclass(frozen=True, slots=True)
class CutRow:
    """One part.

    Attributes
    ----------
    part
        What is cut.
    sheet
        Title of the sheet it lies on; None when there was no room for it.
    mass_g
        Of the finished part: forming moves metal but loses none, so it is the blank's less what is
        drilled out.
    cost
        Its share of the sheet, by area, what is wasted shared out and offcuts left out; None where
        the sheet has no price.
    """

    part: PartToPlace
    sheet: str | None
    mass_g: float
    cost: float | None


@dataclass(frozen=True, slots=True)
class SheetRow:
    """One sheet in use: what becomes parts, what is kept as offcuts, and what it costs."""

    sheet: LaidSheet
    offcuts_mm2: float
    cost: float | None

    @property
    def wasted(self) -> float:
        """Share of the sheet that becomes neither part nor offcut."""
        kept = self.offcuts_mm2 / float(self.sheet.stock.polygon().area)
        return max(0.0, 1.0 - self.sheet.utilisation - kept)


def cut_list(nesting: Nesting, offcuts: Sequence[Offcut]) -> tuple[CutRow, ...]:
    """Return every part's row by number, those without a sheet too."""
    rows = [CutRow(part, None, _mass_g(part, part.material), None) for part in nesting.left_out]
    for row in sheet_list(nesting, offcuts):
        sheet = row.sheet
        for placed in sheet.placed:
            part = placed.part
            cost = None
            if row.cost is not None:
                cost = row.cost * part.area_mm2 / sheet.parts_area_mm2
            rows.append(CutRow(part, sheet.title, _mass_g(part, sheet.stock.material), cost))
    return tuple(sorted(rows, key=lambda one: one.part.number))


def sheet_list(nesting: Nesting, offcuts: Sequence[Offcut]) -> tuple[SheetRow, ...]:
    """Return every sheet's row in order; its cost is its price less its offcuts' share."""
    rows = []
    for sheet in nesting.sheets:
        kept = sum(float(one.stock.good_area().area) for one in offcuts if one.sheet is sheet)
        price = sheet.stock.price
        cost = None if price is None else price * (1.0 - kept / float(sheet.stock.polygon().area))
        rows.append(SheetRow(sheet, kept, cost))
    return tuple(rows)


def sums_in_words(cuts: Sequence[CutRow], sheets: Sequence[SheetRow], currency: str) -> str:
    """Return what it all comes to: parts, length of cut, mass, cost, and what is to be bought."""
    cut_m = sum(row.part.cut_length_mm for row in cuts) / 1000.0
    mass_g = sum(row.mass_g for row in cuts)
    parts = f"{len(cuts)} part{'s' * (len(cuts) != 1)}"
    if left := sum(not row.sheet for row in cuts):
        parts += f" ({left} of them left out)"
    words = [f"In all {parts}, {cut_m:.1f} m cut, {mass_g:.0f} g."]
    costs = [row.cost for row in sheets if row.cost is not None]
    if costs:
        told = f"What the parts take costs {_money(sum(costs), currency)}"
        without = len(sheets) - len(costs)
        if without:
            told += f", {without} sheet{'s' * (without != 1)} without a price left out"
        words.append(f"{told}.")
    to_buy = [row.sheet.stock for row in sheets if row.sheet.stock.quantity is None]
    if to_buy:
        many = Counter(stock.name for stock in to_buy)
        told = f"To buy: {', '.join(f'{count} of {name}' for name, count in many.items())}"
        prices = [stock.price for stock in to_buy if stock.price is not None]
        if len(prices) == len(to_buy):
            told += f", {_money(sum(prices), currency)}"
        words.append(f"{told}.")
    return " ".join(words)


def _money(value: float, currency: str) -> str:
    return f"{value:.2f} {currency}".strip()


def _mass_g(part: PartToPlace, material: str) -> float:
    kg_m2 = sheet_material_named(material).mass_kg_m2(part.thickness_mm)
    return part.finished_area_mm2 * kg_m2 / 1000.0
