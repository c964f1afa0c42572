"""What the stock leaves open: material of which it holds none, grain that is not told."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from fitkit.findings import Finding, Severity
from fitkit.materials.sheet_material import sheet_material_named
from fitkit.sheets.nesting import Nesting
from fitkit.sheets.stock_sheet import StockSheet

__all__ = ["grain_not_told", "stock_not_told"]


def grain_not_told(nesting: Nesting) -> list[Finding]:
    """Return a word on each row of stock without a grain that bears parts with one."""
    parts: dict[str, list[str]] = {}
    for sheet in nesting.sheets:
        grained = [one.part.title for one in sheet.placed if one.part.grain_rad is not None]
        if sheet.stock.grain_rad is None and grained:
            parts.setdefault(sheet.stock.name, []).extend(grained)
    return [
        Finding(
            "grain-not-told",
            Severity.WARNING,
            name,
            f"Which way its grain runs is not told, so that these lie anyhow to it: "
            f"{', '.join(titles)}.",
            'Add grain = "along" or "across" (its length) to the [[stock]] row.',
        )
        for name, titles in parts.items()
    ]


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
