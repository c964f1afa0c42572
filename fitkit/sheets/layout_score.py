"""Which of two layouts is the better one."""

from __future__ import annotations

import math
from collections.abc import Sequence

from fitkit.sheets.nesting import Nesting
from fitkit.sheets.stock_sheet import StockSheet

__all__ = ["beats", "layout_score"]

# A new layout takes the place of one that stands when it is better by more than this.
_WORTH_MM2 = 2_000.0


def layout_score(nesting: Nesting, stock: Sequence[StockSheet]) -> tuple[float, ...]:
    """Return what is to be least: parts left out, sheet bought, sheet used, and the loose ends.

    Sheet used is told row by row, the last of the stock first: an offcut told before a whole sheet
    is used before it. Of every material the sheet that is used least counts by how far along it
    parts reach: the rest of it is the offcut to keep.
    """
    left = sum(part.area_mm2 for part in nesting.left_out)
    bought = 0.0
    used = {row.name: 0.0 for row in reversed(stock) if row.quantity is not None}
    ends: dict[tuple[str, float], float] = {}
    for sheet in nesting.sheets:
        area = float(sheet.stock.polygon().area)
        if sheet.stock.quantity is None:
            bought += area
        else:
            used[sheet.stock.name] += area
        key = (sheet.stock.material, sheet.stock.thickness_mm)
        reach = sheet.used_length_mm * sheet.stock.size_mm[1]
        ends[key] = min(ends.get(key, math.inf), reach)
    return left, bought, *used.values(), sum(ends.values())


def beats(score: tuple[float, ...], other: tuple[float, ...]) -> bool:
    """Tell whether a score is better than another by more than is worth moving parts for."""
    for one, two in zip(score, other, strict=True):
        if abs(one - two) > _WORTH_MM2:
            return one < two
    return False
