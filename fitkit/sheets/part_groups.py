"""Which parts share sheets, and the sheets for those the stock holds none of."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence

from fitkit.findings import Finding, Severity
from fitkit.materials.sheet_material import sheet_material_named
from fitkit.sheets.nesting import Nesting
from fitkit.sheets.part_to_place import PartToPlace
from fitkit.sheets.placing import Placer
from fitkit.sheets.sheet_supply import usual_sheets
from fitkit.sheets.stock_sheet import StockSheet

__all__ = ["groups_of_parts", "sizes_to_add", "stock_not_told"]


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


def stock_not_told(
    nesting: Nesting, stock: Sequence[StockSheet], added: Sequence[StockSheet]
) -> list[Finding]:
    """Return a word on each material of which there is no stock: the sizes it was laid out on.

    Parameters
    ----------
    stock, added
        What the maker has, and the usual sizes beside it.
    """
    findings = []
    for material, thickness in sorted({(row.material, row.thickness_mm) for row in added}):
        own = {
            row.name for row in added if (row.material, row.thickness_mm) == (material, thickness)
        }
        used = [sheet.stock.size_mm for sheet in nesting.sheets if sheet.stock.name in own]
        sizes = [
            f"{count} of {length:.0f} × {width:.0f} mm"
            for (length, width), count in Counter(used).items()
        ]
        laid = (
            f"laid out on {' and '.join(sizes)}, as usually sold" if sizes else "none is laid out"
        )
        findings.append(
            Finding(
                "stock-not-told",
                Severity.NOTE,
                f"{material} {thickness:g} mm",
                f"The stock holds none of it: {laid}.{_nearly(material, stock)}",
                "Add a [[stock]] row for what you have.",
            )
        )
    return findings


def _nearly(material: str, stock: Sequence[StockSheet]) -> str:
    """Return what stock of the same kind does not serve for; nothing where there is none."""
    kind = material.split()[0]
    rows = [row for row in stock if sheet_material_named(row.material).name.split()[0] == kind]
    if not rows:
        return ""
    told = ", ".join(f"'{row.name}' is {row.material} {row.thickness_mm:g} mm" for row in rows)
    return f" Of what there is {told}."
