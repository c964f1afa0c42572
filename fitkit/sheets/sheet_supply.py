"""Which sheets a group of parts may take, one after the other: what there is, then what is sold."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from itertools import count

from fitkit.materials.sheet_material import sheet_material_named
from fitkit.materials.stock_sizes import stock_sizes_of
from fitkit.sheets.open_sheet import OpenSheet
from fitkit.sheets.placing import Placer
from fitkit.sheets.stock_sheet import StockSheet, rectangle_mm

__all__ = ["SheetSupply", "usual_sheets"]

# Parts of odd shape fill about this share of the sheets they need.
_LIKELY_USE = 0.7


@dataclass(slots=True)
class SheetSupply:
    """Sheets not laid on yet.

    Parameters
    ----------
    stock
        In the order they are to be used; sizes to buy come last whatever their place.
    """

    stock: Sequence[StockSheet]
    _taken: set[tuple[str, int]] = field(default_factory=set)

    @classmethod
    def without(
        cls,
        stock: Sequence[StockSheet],
        sheets: Iterable[OpenSheet],
        taken: Iterable[tuple[str, int]] = (),
    ) -> SheetSupply:
        """Return what is left of the stock beside sheets in use."""
        used = {(sheet.stock.name, sheet.copy) for sheet in sheets}
        return cls(stock, used | set(taken))

    def _next_copy(self, row: StockSheet) -> int:
        """Take the first copy that is not in use; return which."""
        copy = next(n for n in count(1) if (row.name, n) not in self._taken)
        self._taken.add((row.name, copy))
        return copy

    def next_sheet(
        self, placer: Placer, left: Sequence[int], passed_over: set[str]
    ) -> tuple[StockSheet, int] | None:
        """Return the next sheet for these parts and which copy it is; None when there is none.

        Parameters
        ----------
        left
            Numbers of the parts, all of one material and thickness.
        passed_over
            Names of rows on which none of them found room.
        """
        part = placer.parts[left[0]]
        serving = [
            row
            for row in self.stock
            if row.name not in passed_over and row.serves(part.material, part.thickness_mm)
        ]
        for row in serving:
            used = sum(name == row.name for name, _ in self._taken)
            if row.quantity is not None and used < row.quantity:
                return row, self._next_copy(row)
        to_buy = [row for row in serving if row.quantity is None]
        if not to_buy:
            return None
        row = _cheapest(to_buy, placer, left)
        return row, self._next_copy(row)


def _cheapest(sizes: Sequence[StockSheet], placer: Placer, left: Sequence[int]) -> StockSheet:
    """Return the size of which the parts will likely take the least money, else the least area."""
    if len(sizes) == 1:
        return sizes[0]
    area = sum(placer.parts[number].area_mm2 for number in left)
    priced = all(row.price is not None for row in sizes)

    def cost(row: StockSheet) -> tuple[int, float, float]:
        own = float(row.polygon().area)
        many = max(1, math.ceil(area / (_LIKELY_USE * own)))
        too_large = len(left) - len(placer.fitting(left, row))
        return too_large, many * (float(row.price or 0.0) if priced else own), own

    return min(sizes, key=cost)


def usual_sheets(material: str, thickness_mm: float) -> tuple[StockSheet, ...]:
    """Return the sizes in which a sheet is usually sold, as sizes to buy without a price."""
    row = stock_sizes_of(material)
    name = sheet_material_named(material).name
    return tuple(
        StockSheet(
            f"{name} {thickness_mm:g} mm, {length:g} × {width:g} mm",
            name,
            thickness_mm,
            rectangle_mm(length, width),
            quantity=None,
            grain_rad=0.0 if row.grained else None,
            faced=row.faced,
        )
        for length, width in row.sizes_mm
    )
