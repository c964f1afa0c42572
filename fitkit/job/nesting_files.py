"""A nesting as a file of its own: sheets, parts and places as JSON, in millimetres."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from fitkit.body.side import Side
from fitkit.job.plain_json import json_bytes
from fitkit.job.result_reading import read_result_json, reading_result
from fitkit.sheets.nesting import LaidSheet, Nesting, NestRules, PlacedPart
from fitkit.sheets.part_to_place import PartToPlace
from fitkit.sheets.stock_sheet import StockSheet

__all__ = ["NESTING_FILE", "nesting_file", "read_nesting"]

NESTING_FILE = "nesting.json"
_FORMAT = 1


def nesting_file(nesting: Nesting) -> bytes:
    """Return a nesting as JSON; :func:`read_nesting` gives the same to the last bit."""
    rules = nesting.rules
    values = {
        "format": _FORMAT,
        "unit": "mm",
        "rules": {
            "gap_mm": rules.gap_mm,
            "margin_mm": rules.margin_mm,
            "turn_step_rad": rules.turn_step_rad,
            "mirrored": rules.mirrored,
        },
        "sheets": [
            {
                "stock": _stock(sheet.stock),
                "copy": sheet.copy,
                "placed": [
                    {
                        "part": _part(one.part),
                        "shift_mm": one.shift_mm.tolist(),
                        "turn_rad": one.turn_rad,
                        "mirrored": one.mirrored,
                        "pinned": one.pinned,
                    }
                    for one in sheet.placed
                ],
            }
            for sheet in nesting.sheets
        ],
        "left_out": [_part(part) for part in nesting.left_out],
    }
    return json_bytes(values)


def read_nesting(folder: Path, name: str = NESTING_FILE) -> Nesting:
    """Return the nesting in a folder.

    Raises
    ------
    JobError
        When the file is missing or damaged.
    """
    values = read_result_json(folder, name, _FORMAT)
    with reading_result(folder, name):
        return Nesting(
            NestRules(**values["rules"]),
            tuple(
                LaidSheet(
                    _read_stock(sheet["stock"]),
                    int(sheet["copy"]),
                    tuple(
                        PlacedPart(
                            _read_part(row["part"]),
                            np.array(row["shift_mm"]),
                            float(row["turn_rad"]),
                            bool(row["mirrored"]),
                            bool(row["pinned"]),
                        )
                        for row in sheet["placed"]
                    ),
                )
                for sheet in values["sheets"]
            ),
            tuple(_read_part(row) for row in values["left_out"]),
        )


def _stock(stock: StockSheet) -> dict[str, Any]:
    return {
        "name": stock.name,
        "material": stock.material,
        "thickness_mm": stock.thickness_mm,
        "outline_mm": stock.outline_mm.tolist(),
        "quantity": stock.quantity,
        "bad_zones_mm": [zone.tolist() for zone in stock.bad_zones_mm],
        "grain_rad": stock.grain_rad,
        "faced": stock.faced,
        "price": stock.price,
    }


def _read_stock(row: dict[str, Any]) -> StockSheet:
    arrays = {
        "outline_mm": np.array(row["outline_mm"]),
        "bad_zones_mm": tuple(np.array(zone) for zone in row["bad_zones_mm"]),
    }
    return StockSheet(**{**row, **arrays})


def _part(part: PartToPlace) -> dict[str, Any]:
    return {
        "number": part.number,
        "name": part.name,
        "side": part.side.value,
        "material": part.material,
        "thickness_mm": part.thickness_mm,
        "outline_mm": part.outline_mm.tolist(),
        "openings_mm": [ring.tolist() for ring in part.openings_mm],
        "drilled_mm": part.drilled_mm.tolist(),
        "grain_rad": part.grain_rad,
    }


def _read_part(row: dict[str, Any]) -> PartToPlace:
    arrays = {
        "side": Side(row["side"]),
        "outline_mm": np.array(row["outline_mm"]),
        "openings_mm": tuple(np.array(ring) for ring in row["openings_mm"]),
        "drilled_mm": np.array(row["drilled_mm"]),
    }
    return PartToPlace(**{**row, **arrays})
