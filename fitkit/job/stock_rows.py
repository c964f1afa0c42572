"""What ``job.toml`` says on sheets, as values of the stage."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from fitkit.geometry.arrays import Floats
from fitkit.sheets.nesting import LaidSheet, NestRules, PlacedPart
from fitkit.sheets.stock_sheet import StockSheet, rectangle_mm
from fitkit.units import radians_from_degrees

if TYPE_CHECKING:
    from fitkit.job.settings import JobSettings
    from fitkit.job.stock_settings import BadZoneSection, StockSection

__all__ = ["nest_rules", "pinned_row", "stock_sheets"]

_ROUND_CORNERS = 48


def stock_sheets(settings: JobSettings) -> tuple[StockSheet, ...]:
    """Return the rows of the stock in the maker's order."""
    return tuple(_sheet(row) for row in settings.stock)


def nest_rules(settings: JobSettings) -> NestRules:
    """Return how parts may lie."""
    step = settings.nest.turn_step_deg
    return NestRules(
        gap_mm=settings.nest.gap_mm,
        margin_mm=settings.nest.margin_mm,
        turn_step_rad=radians_from_degrees(step) if step > 0 else None,
        mirrored=settings.nest.mirrored,
    )


def pinned_row(sheet: LaidSheet, placed: PlacedPart) -> dict[str, Any]:
    """Return the row of ``[[pinned]]`` that keeps a part where it lies.

    Numbers are written to the last bit, so that it lies where it lay.
    """
    row: dict[str, Any] = {"part": placed.part.title, "sheet": sheet.stock.name}
    if sheet.copy != 1:
        row["copy_number"] = sheet.copy
    row["at_mm"] = [float(x) for x in placed.shift_mm]
    turn = math.degrees(placed.turn_rad) % 360.0
    if turn:
        row["turn_deg"] = turn
    if placed.mirrored:
        row["mirrored"] = True
    return row


def _sheet(row: StockSection) -> StockSheet:
    outline = np.array(row.outline_mm) if row.outline_mm else rectangle_mm(*(row.size_mm or (0, 0)))
    grain = {None: None, "along": 0.0, "across": math.pi / 2}[row.grain]
    return StockSheet(
        row.name,
        row.material_name(),
        row.thickness_mm,
        outline,
        quantity=None if row.to_buy else row.quantity,
        bad_zones_mm=tuple(_zone(zone) for zone in row.bad),
        grain_rad=grain,
        faced=row.is_faced(),
        price=row.price,
    )


def _zone(zone: BadZoneSection) -> Floats:
    if zone.corners_mm is not None:
        return np.array(zone.corners_mm)
    around = np.linspace(0.0, 2.0 * math.pi, _ROUND_CORNERS, endpoint=False)
    # The polygon lies round the circle, not in it.
    radius = (zone.within_mm or 0.0) / math.cos(math.pi / _ROUND_CORNERS)
    ring: Floats = np.array(zone.at_mm) + radius * np.column_stack([np.cos(around), np.sin(around)])
    return ring
