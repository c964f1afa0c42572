"""Parts and sheets for the tests of nesting."""

from __future__ import annotations

import numpy as np

from fitkit.body.side import Side
from fitkit.geometry.arrays import Floats
from fitkit.sheets.part_to_place import PartToPlace
from fitkit.sheets.stock_sheet import StockSheet, rectangle_mm


def part(
    outline_mm: Floats,
    number: int = 1,
    *,
    openings_mm: tuple[Floats, ...] = (),
    grain_rad: float | None = None,
    material: str = "card",
) -> PartToPlace:
    return PartToPlace(
        number,
        f"part {number}",
        Side.CENTRE,
        material,
        1.0,
        outline_mm,
        openings_mm=openings_mm,
        grain_rad=grain_rad,
    )


def box(
    length: float, width: float, number: int = 1, *, grain_rad: float | None = None
) -> PartToPlace:
    return part(rectangle_mm(length, width), number, grain_rad=grain_rad)


def ring_mm(radius: float, sides: int = 64) -> Floats:
    around = np.linspace(0.0, 2.0 * np.pi, sides, endpoint=False)
    return radius * np.column_stack([np.cos(around), np.sin(around)])


def sheet(
    length: float = 1000.0,
    width: float = 500.0,
    *,
    name: str = "card sheet",
    quantity: int | None = 1,
    bad_zones_mm: tuple[Floats, ...] = (),
    grain_rad: float | None = None,
    faced: bool = False,
) -> StockSheet:
    return StockSheet(
        name,
        "card",
        1.0,
        rectangle_mm(length, width),
        quantity=quantity,
        bad_zones_mm=bad_zones_mm,
        grain_rad=grain_rad,
        faced=faced,
    )
