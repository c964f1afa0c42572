"""Sizes in which sheet is usually sold, read from a table."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from fitkit.materials.sheet_material import sheet_material_named

__all__ = ["StockSizes", "stock_sizes_of"]


@dataclass(frozen=True, slots=True)
class StockSizes:
    """One row of the table.

    Attributes
    ----------
    material
        The first word of the materials' names that it is for.
    sizes_mm
        Length, along the grain where there is one, and width.
    grained, faced
        Whether the sheet has a direction, and a side that is to be seen.
    source, confidence
        Where the figures come from: ``seen``, ``memory`` or ``practice``.
    """

    material: str
    sizes_mm: tuple[tuple[float, float], ...]
    grained: bool
    faced: bool
    source: str
    confidence: str


@cache
def _rows() -> dict[str, StockSizes]:
    text = files("fitkit.materials").joinpath("stock_sizes.toml").read_text(encoding="utf-8")
    return {
        row["material"]: StockSizes(
            material=row["material"],
            sizes_mm=tuple((float(a), float(b)) for a, b in row["sizes_mm"]),
            grained=bool(row["grained"]),
            faced=bool(row["faced"]),
            source=row["source"],
            confidence=row["confidence"],
        )
        for row in tomllib.loads(text)["stock"]
    }


def stock_sizes_of(material: str) -> StockSizes:
    """Return the usual sizes of a material.

    Raises
    ------
    InputError
        When there is no such material.
    """
    return _rows()[sheet_material_named(material).name.split()[0]]
