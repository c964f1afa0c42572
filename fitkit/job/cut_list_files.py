"""Cut list and sheets as tables, offcuts as rows for the next job's ``job.toml``."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np

from fitkit.job.settings_edits import with_row
from fitkit.materials.stock_sizes import stock_sizes_of
from fitkit.sheets.cut_list import CutRow, SheetRow
from fitkit.sheets.offcuts import Offcut
from fitkit.sheets.stock_sheet import StockSheet
from fitkit.spreadsheet import spreadsheet

__all__ = ["cut_list_csv", "offcut_row", "offcuts_toml", "sheet_list_csv"]

_CUT_COLUMNS = (
    "number", "part", "side", "sheet", "material", "thickness_mm", "length_mm", "width_mm",
    "blank_area_cm2", "cut_length_mm", "holes", "mass_g", "cost",
)  # fmt: skip
_SHEET_COLUMNS = (
    "sheet", "material", "thickness_mm", "length_mm", "width_mm", "parts", "used_length_mm",
    "used_pct", "offcuts_pct", "wasted_pct", "price", "cost",
)  # fmt: skip
_OFFCUTS_HEAD = """\
# Offcuts of this job worth keeping, as stock for the next: fitkit nest NEXT --offcuts-of THIS
# writes them into its job.toml; or copy rows by hand.

"""


def cut_list_csv(rows: Iterable[CutRow], currency: str = "") -> bytes:
    """Return the cut list as CSV, the money's name in the head of its column."""
    return spreadsheet(
        _with_currency(_CUT_COLUMNS, currency),
        (
            [
                row.part.number,
                row.part.name,
                row.part.side.value,
                row.sheet or "no room",
                row.part.material,
                f"{row.part.thickness_mm:g}",
                f"{np.ptp(row.part.outline_mm[:, 0]):.1f}",
                f"{np.ptp(row.part.outline_mm[:, 1]):.1f}",
                f"{row.part.area_mm2 / 100.0:.1f}",
                f"{row.part.cut_length_mm:.0f}",
                len(row.part.drilled_mm),
                f"{row.mass_g:.0f}",
                _money(row.cost),
            ]
            for row in rows
        ),
    )


def sheet_list_csv(rows: Iterable[SheetRow], currency: str = "") -> bytes:
    """Return the use of every sheet as CSV."""
    lines = []
    for row in rows:
        sheet, stock = row.sheet, row.sheet.stock
        offcuts = row.offcuts_mm2 / float(stock.polygon().area)
        lines.append(
            [sheet.title, stock.material, f"{stock.thickness_mm:g}"]
            + [f"{size:.0f}" for size in stock.size_mm]
            + [len(sheet.placed), f"{sheet.used_length_mm:.1f}"]
            + [f"{100.0 * share:.1f}" for share in (sheet.utilisation, offcuts, row.wasted)]
            + [_money(stock.price), _money(row.cost)]
        )
    return spreadsheet(_with_currency(_SHEET_COLUMNS, currency), lines)


def offcuts_toml(offcuts: Sequence[Offcut]) -> bytes:
    """Return offcuts as ``[[stock]]`` rows."""
    text = _OFFCUTS_HEAD
    for offcut in offcuts:
        text = with_row(text, "stock", offcut_row(offcut.stock))
    return text.encode()


def offcut_row(stock: StockSheet) -> dict[str, Any]:
    """Return a ``[[stock]]`` row of ``job.toml`` for an offcut, to a tenth of a millimetre."""
    row: dict[str, Any] = {
        "name": stock.name,
        "material": stock.material,
        "thickness_mm": stock.thickness_mm,
    }
    if stock.is_rectangle:
        # Never larger than the piece is.
        row["size_mm"] = [math.floor(10.0 * size + 1e-6) / 10.0 for size in stock.size_mm]
    else:
        row["outline_mm"] = np.round(stock.outline_mm, 1).tolist()
    if stock.bad_zones_mm:
        row["bad"] = [{"corners_mm": np.round(z, 1).tolist()} for z in stock.bad_zones_mm]
    if stock.grain_rad is not None:
        across = abs(math.sin(stock.grain_rad)) > math.sqrt(0.5)
        row["grain"] = "across" if across else "along"
    if stock.faced or stock_sizes_of(stock.material).faced:
        row["faced"] = stock.faced
    if stock.price is not None:
        row["price"] = stock.price
    return row


def _with_currency(columns: Sequence[str], currency: str) -> list[str]:
    money = {"cost", "price"}
    return [f"{name} {currency}".strip() if name in money else name for name in columns]


def _money(value: float | None) -> str:
    return "" if value is None else f"{value:.2f}"
