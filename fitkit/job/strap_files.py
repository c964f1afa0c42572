"""Straps as files: their lines, lengths and seats as JSON, their picture, a list to cut them by."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np

from fitkit.holding.bought import Bought
from fitkit.holding.fastener import LaidFastener
from fitkit.holding.strap import Strap
from fitkit.job.plain_json import json_bytes
from fitkit.job.result_reading import read_result_bytes, read_result_json, reading_result
from fitkit.spreadsheet import spreadsheet

__all__ = ["STRAPS_FILE", "STRAPS_PICTURE", "read_bought", "read_holding", "strap_files"]

STRAPS_FILE = "straps.json"
STRAPS_PICTURE = "straps.png"
_FORMAT = 1
_COLUMNS = ("piece", "count", "width_mm", "thickness_mm", "material", "length_mm", "holes_at_mm",
            "shortest_mm", "worn_mm", "longest_mm")  # fmt: skip


def strap_files(
    straps: Sequence[Strap],
    fasteners: Sequence[LaidFastener] = (),
    *,
    picture: bytes | None = None,
) -> dict[str, bytes]:
    """Return ``straps.json`` and ``straps.csv``, lengths in mm; fasteners are in the first.

    ``picture`` is the straps on the wearer as PNG.
    """
    values = {
        "format": _FORMAT,
        "unit": "mm",
        "straps": [_strap(strap) for strap in straps],
        "fasteners": [
            {
                "name": one.design.name,
                "on": list(one.design.on),
                "kind": one.kind,
                "why": one.why,
                "opened_by": one.tool,
                "at_mm": np.round(one.at_mm, 1).tolist(),
            }
            for one in fasteners
        ],
        "bought": [
            *(asdict(row) for strap in straps for row in strap.bought),
            *(asdict(row) for one in fasteners for row in one.bought),
        ],
    }
    files = {STRAPS_FILE: json_bytes(values, indent=1), "straps.csv": _table(straps)}
    return files if picture is None else {**files, STRAPS_PICTURE: picture}


def read_bought(folder: Path) -> tuple[Bought, ...]:
    """Return what has to be bought for the straps of a result; nothing where it has none.

    Raises
    ------
    JobError
        When the file is damaged.
    """
    if not (folder / STRAPS_FILE).is_file():
        return ()
    values = read_result_json(folder, STRAPS_FILE, _FORMAT)
    with reading_result(folder, STRAPS_FILE):
        return tuple(Bought.from_dict(row) for row in values["bought"])


def read_holding(
    folder: Path,
) -> tuple[list[dict[str, Any]], list[dict[str, Any]], bytes | None]:
    """Return the straps and the fasteners as kept, and the straps' picture where there are any.

    Raises
    ------
    JobError
        When a file is damaged or missing.
    """
    if not (folder / STRAPS_FILE).is_file():
        return [], [], None
    values = read_result_json(folder, STRAPS_FILE, _FORMAT)
    with reading_result(folder, STRAPS_FILE):
        straps, fasteners = values["straps"], values["fasteners"]
    return straps, fasteners, read_result_bytes(folder, STRAPS_PICTURE) if straps else None


def _strap(strap: Strap) -> dict[str, Any]:
    setting = strap.fit.setting
    return {
        "name": strap.design.name,
        "on": [{"patch": sheet.patch, "twin": sheet.twin} for sheet in strap.sheets],
        "closing": strap.design.closing,
        "pair": strap.design.paired,
        "words": strap.in_words(),
        "length_mm": round(strap.run.length_mm, 1),
        "bare_change_mm": round(strap.run.bare_change_mm, 1),
        "worn_mm": round(setting.worn_mm, 1),
        "shortest_mm": round(setting.shortest_mm, 1),
        "longest_mm": round(setting.longest_mm, 1),
        "reach_mm": [round(one, 1) for one in setting.reach_mm],
        "line_mm": np.round(strap.run.points_mm[::8], 1).tolist(),
        "pieces": [
            {
                "name": piece.name,
                "count": strap.count,
                "words": piece.in_words(),
                "length_mm": round(piece.length_mm, 1),
                "holes_mm": np.round(piece.holes_mm, 2).tolist(),
            }
            for piece in strap.fit.pieces
        ],
        "seats": [
            {
                "patch": seat.patch,
                "twin": seat.twin,
                "holes_mm": np.round(seat.holes_mm, 2).tolist(),
                "hole_mm": seat.hole_mm,
                "words": seat.words,
            }
            for seat in strap.seats
        ],
    }


def _table(straps: Sequence[Strap]) -> bytes:
    rows = []
    for strap in straps:
        design, setting = strap.design, strap.fit.setting
        for piece in strap.fit.pieces:
            holes = " ".join(f"{x:.1f}" for x in np.sort(piece.holes_mm[:, 0]))
            settings = (setting.shortest_mm, setting.worn_mm, setting.longest_mm)
            rows.append(
                [piece.name, strap.count, f"{design.width_mm:g}", f"{design.thickness_mm:g}",
                 design.material, f"{piece.length_mm:.1f}", holes,
                 *(f"{one:.1f}" for one in settings)]
            )  # fmt: skip
    return spreadsheet(_COLUMNS, rows)
