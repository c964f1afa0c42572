"""Parts that stay: where the maker pinned them, or where an earlier layout has them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from fitkit.findings import Finding, Severity
from fitkit.geometry.arrays import Floats, frozen_floats
from fitkit.sheets.nesting import Nesting, NestRules, PlacedPart
from fitkit.sheets.open_sheet import OpenSheet
from fitkit.sheets.part_to_place import PartToPlace
from fitkit.sheets.stock_sheet import StockSheet

__all__ = ["PinnedPlace", "pinned_sheets", "sheets_as_they_lay"]


@dataclass(frozen=True, slots=True, eq=False)
class PinnedPlace:
    """Where the maker wants a part to stay; see :class:`fitkit.sheets.nesting.PlacedPart`."""

    title: str
    stock: str
    copy: int
    shift_mm: Floats
    turn_rad: float = 0.0
    mirrored: bool = False

    def __post_init__(self) -> None:
        object.__setattr__(self, "shift_mm", frozen_floats(self.shift_mm, (2,), "shift_mm"))


def pinned_sheets(
    pinned: Iterable[PinnedPlace],
    parts: Iterable[PartToPlace],
    stock: Iterable[StockSheet],
    rules: NestRules,
) -> tuple[list[OpenSheet], list[Finding]]:
    """Return sheets with the pinned parts on them, and a word on each that cannot stay."""
    by_title = {part.title: part for part in parts}
    rows = {row.name: row for row in stock}
    sheets: dict[tuple[str, int], OpenSheet] = {}
    faults: list[Finding] = []
    for pin in pinned:
        part, row = by_title.get(pin.title), rows.get(pin.stock)
        if part is None or row is None:
            faults.append(_let_go(pin, f"There is no such {'part' if part is None else 'sheet'}."))
            continue
        if not row.serves(part.material, part.thickness_mm) or (
            row.quantity is not None and pin.copy > row.quantity
        ):
            faults.append(_let_go(pin, f"'{pin.stock}' {pin.copy} is no sheet for it."))
            continue
        sheet = sheets.get((pin.stock, pin.copy)) or OpenSheet(row, pin.copy, rules)
        placed = PlacedPart(part, pin.shift_mm, pin.turn_rad, pin.mirrored, pinned=True)
        if pin.mirrored and not rules.may_mirror(row):
            faults.append(_let_go(pin, "It may not lie mirrored there."))
        elif not sheet.is_clear(placed.polygon()):
            why = "It would lie over the edge, a bad zone or a pinned part."
            faults.append(_let_go(pin, why))
        else:
            sheet.add(placed)
            sheets[pin.stock, pin.copy] = sheet
    return list(sheets.values()), faults


def _let_go(pin: PinnedPlace, why: str) -> Finding:
    return Finding(
        "pin-let-go",
        Severity.WARNING,
        pin.title,
        f"It cannot stay where it is pinned, on '{pin.stock}'. {why}",
        "It was laid elsewhere; move or remove its [[pinned]] row.",
    )


def sheets_as_they_lay(
    start: Nesting,
    pinned: Sequence[OpenSheet],
    parts: Iterable[PartToPlace],
    stock: Iterable[StockSheet],
    rules: NestRules,
) -> list[OpenSheet]:
    """Return the sheets of an earlier nesting with the parts that may still lie there.

    Pinned parts are where they are pinned; what they are in the way of is left off.
    """
    rows = {row.name: row for row in stock}
    known = {part.number: part for part in parts}
    sheets = [sheet.copied() for sheet in pinned]
    held = {number for sheet in sheets for number in sheet.placed}
    for old in start.sheets:
        row = rows.get(old.stock.name)
        if row is None or (row.quantity is not None and old.copy > row.quantity):
            continue
        sheet = next((s for s in sheets if (s.stock.name, s.copy) == (row.name, old.copy)), None)
        if sheet is None:
            sheet = OpenSheet(row, old.copy, rules)
            sheets.append(sheet)
        for placed in old.placed:
            part = known.get(placed.part.number)
            if part is None or part.number in held or not _same_cut(part, placed.part):
                continue
            again = replace(placed, part=part, pinned=False)
            if _may_lie(again, sheet):
                sheet.add(again)
                held.add(part.number)
    return [sheet for sheet in sheets if sheet.placed]


def _same_cut(one: PartToPlace, other: PartToPlace) -> bool:
    return np.array_equal(one.outline_mm, other.outline_mm) and len(one.openings_mm) == len(
        other.openings_mm
    )


def _may_lie(placed: PlacedPart, sheet: OpenSheet) -> bool:
    part, rules = placed.part, sheet.rules
    if not sheet.stock.serves(part.material, part.thickness_mm) or (
        placed.mirrored and not rules.may_mirror(sheet.stock)
    ):
        return False
    turns = rules.turns_rad(part, sheet.stock, mirrored=placed.mirrored)
    if turns is not None:
        off = np.remainder(placed.turn_rad - np.array(turns) + np.pi, 2 * np.pi) - np.pi
        if float(np.abs(off).min()) > 1e-9:
            return False
    return sheet.is_clear(placed.polygon())
