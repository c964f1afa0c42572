"""Which of two layouts is the better one."""

from __future__ import annotations

import math

from fitkit.sheets.nesting import Nesting

__all__ = ["beats", "layout_score"]

# A new layout takes the place of one that stands when it is better by more than this.
_WORTH_MM2 = 2_000.0


def layout_score(nesting: Nesting) -> tuple[float, ...]:
    """Return what is to be least: parts left out, sheet bought, sheet used, and the loose ends.

    Of every row of stock the sheet that is used least counts by how far along it parts reach: the
    rest of it is the offcut to keep.
    """
    left = sum(part.area_mm2 for part in nesting.left_out)
    bought = used = 0.0
    ends: dict[tuple[str, float], float] = {}
    for sheet in nesting.sheets:
        area = float(sheet.stock.polygon().area)
        used += area
        bought += area if sheet.stock.quantity is None else 0.0
        key = (sheet.stock.material, sheet.stock.thickness_mm)
        reach = sheet.used_length_mm * sheet.stock.size_mm[1]
        ends[key] = min(ends.get(key, math.inf), reach)
    return left, bought, used, sum(ends.values())


def beats(score: tuple[float, ...], other: tuple[float, ...]) -> bool:
    """Tell whether a score is better than another by more than is worth moving parts for."""
    for one, two in zip(score, other, strict=True):
        if abs(one - two) > _WORTH_MM2:
            return one < two
    return False
