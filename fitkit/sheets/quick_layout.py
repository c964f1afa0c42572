"""A whole layout soon: parts laid one by one on the sheets there are, then on new ones."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from fitkit.sheets.open_sheet import OpenSheet
from fitkit.sheets.placing import Placer
from fitkit.sheets.search_watch import SearchWatch
from fitkit.sheets.sheet_supply import SheetSupply
from fitkit.sheets.stock_sheet import StockSheet

__all__ = ["lay_on_open_sheets", "lay_quickly"]


def lay_quickly(
    placer: Placer,
    stock: Sequence[StockSheet],
    groups: Iterable[Sequence[int]],
    sheets: Sequence[OpenSheet] = (),
    taken: Iterable[tuple[str, int]] = (),
    watch: SearchWatch | None = None,
    turns: str = "any",
) -> list[OpenSheet]:
    """Return sheets with every part of the groups laid where there is room.

    Parameters
    ----------
    groups
        Part numbers, those of a group of one material and thickness.
    sheets
        In use already; they are copied.
    taken
        Names and copies of sheets in use that nothing is added to.
    watch
        Without one nobody can stop it: a layout cut off half way is no answer.
    turns
        How parts are tried on sheets in use; see :meth:`fitkit.sheets.placing.Placer.ways`.
    """
    sheets = [sheet.copied() for sheet in sheets]
    for group in groups:
        held = {number for sheet in sheets for number in sheet.placed}
        left = [number for number in group if number not in held]
        left = lay_on_open_sheets(placer, sheets, left, watch, turns)
        supply = SheetSupply.without(stock, sheets, taken)
        passed_over: set[str] = set()
        while left:
            found = supply.next_sheet(placer, left, passed_over)
            if found is None:
                break
            count = len(left)
            sheet, left = placer.lay_first(OpenSheet(*found, placer.rules), left, watch)
            if len(left) == count:
                passed_over.add(found[0].name)
            else:
                sheets.append(sheet)
    return sheets


def lay_on_open_sheets(
    placer: Placer,
    sheets: Sequence[OpenSheet],
    left: list[int],
    watch: SearchWatch | None,
    turns: str = "any",
) -> list[int]:
    """Lay parts on sheets in use that serve them; return what found no room."""
    for sheet in sheets:
        parts = [placer.parts[number] for number in left]
        serves = {p.number for p in parts if sheet.stock.serves(p.material, p.thickness_mm)}
        still = set(placer.lay(sheet, [n for n in left if n in serves], watch, turns))
        left = [n for n in left if n in still or n not in serves]
    return left
