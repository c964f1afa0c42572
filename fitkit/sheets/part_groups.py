"""Which parts share sheets, and the sheets for those the stock holds none of."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from fitkit.materials.sheet_material import sheet_material_named
from fitkit.sheets.part_to_place import PartToPlace
from fitkit.sheets.placing import Placer
from fitkit.sheets.sheet_supply import usual_sheets
from fitkit.sheets.stock_sheet import StockSheet

__all__ = ["groups_of_parts", "sizes_to_add"]


def groups_of_parts(placer: Placer) -> list[list[int]]:
    """Return part numbers by material and thickness, those that name an alloy first."""
    groups: dict[tuple[str, float], list[int]] = {}
    for part in placer.parts.values():
        key = (sheet_material_named(part.material).name, part.thickness_mm)
        groups.setdefault(key, []).append(part.number)
    order = sorted(groups, key=lambda key: (-len(key[0].split()), key))
    return [placer.by_area(groups[key]) for key in order]


def sizes_to_add(
    parts: Iterable[PartToPlace], stock: Sequence[StockSheet]
) -> tuple[StockSheet, ...]:
    """Return usual sizes for the parts that no row of the stock serves."""
    added: dict[str, StockSheet] = {}
    for part in parts:
        if not any(row.serves(part.material, part.thickness_mm) for row in stock):
            for row in usual_sheets(part.material, part.thickness_mm):
                added.setdefault(row.name, row)
    return tuple(added.values())
