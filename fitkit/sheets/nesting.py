"""A nesting: which part lies where on which sheet."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely

from fitkit.geometry.arrays import Floats, frozen_floats
from fitkit.sheets.part_to_place import PartToPlace
from fitkit.sheets.stock_sheet import StockSheet

__all__ = ["LaidSheet", "NestRules", "Nesting", "PlacedPart"]


@dataclass(frozen=True, slots=True)
class NestRules:
    """How parts may lie.

    Attributes
    ----------
    gap_mm
        Least distance between two parts; 3 to 5 mm for snips, 0 to 2 mm for a knife on card, a
        saw's cut and 2 mm more (common practice, no source).
    margin_mm
        Least distance from the sheet's edge and from bad zones.
    turn_step_rad
        Parts are turned by whole steps of it; None when they may be turned freely.
    mirrored
        Whether parts may lie mirrored on sheets without a face.
    """

    gap_mm: float = 3.0
    margin_mm: float = 5.0
    turn_step_rad: float | None = None
    mirrored: bool = False

    def turns_rad(
        self, part: PartToPlace, sheet: StockSheet, *, mirrored: bool = False
    ) -> tuple[float, ...] | None:
        """Return the turns a part may take on a sheet; None when any will do.

        A grain lets it lie one way round or the other.
        """
        if part.grain_rad is not None and sheet.grain_rad is not None:
            grain = math.pi - part.grain_rad if mirrored else part.grain_rad
            turn = (sheet.grain_rad - grain) % math.pi
            return turn, turn + math.pi
        if self.turn_step_rad is None:
            return None
        count = max(1, round(2.0 * math.pi / self.turn_step_rad))
        return tuple(index * self.turn_step_rad for index in range(count))

    def may_mirror(self, sheet: StockSheet) -> bool:
        """Tell whether parts may lie mirrored on a sheet."""
        return self.mirrored and not sheet.faced


@dataclass(frozen=True, slots=True, eq=False)
class PlacedPart:
    """A part on a sheet.

    A point of the part comes to lie at ``turned(mirrored(point)) + shift_mm``: mirrored, where it
    is, by (x, y) to (-x, y); turned counter-clockwise about the origin.

    Attributes
    ----------
    shift_mm
        (2,) float mm, in the sheet's coordinates.
    pinned
        Whether the maker wants it to stay there.
    """

    part: PartToPlace
    shift_mm: Floats
    turn_rad: float = 0.0
    mirrored: bool = False
    pinned: bool = False

    def __post_init__(self) -> None:
        object.__setattr__(self, "shift_mm", frozen_floats(self.shift_mm, (2,), "shift_mm"))

    def on_sheet(self, points_mm: Floats) -> Floats:
        """Return points of the part, (N, 2) float mm, where they lie on the sheet."""
        points = np.asarray(points_mm, dtype=np.float64)
        if self.mirrored:
            points = points * np.array([-1.0, 1.0])
        c, s = math.cos(self.turn_rad), math.sin(self.turn_rad)
        placed: Floats = points @ np.array([[c, s], [-s, c]]) + self.shift_mm
        return placed

    def outline_mm(self) -> Floats:
        """Return the cut line on the sheet, (N, 2) float mm, counter-clockwise."""
        points = self.on_sheet(self.part.outline_mm)
        return points[::-1].copy() if self.mirrored else points

    def polygon(self) -> shapely.Polygon:
        """Return what it covers of the sheet."""
        moved: shapely.Polygon = shapely.transform(self.part.polygon(), self.on_sheet)
        return moved


@dataclass(frozen=True, slots=True, eq=False)
class LaidSheet:
    """One sheet with its parts; ``copy`` counts the sheets of the same row of stock from 1."""

    stock: StockSheet
    copy: int
    placed: tuple[PlacedPart, ...]

    @property
    def title(self) -> str:
        """As the maker is told: the row's name, numbered where there can be several."""
        return self.stock.name if self.stock.quantity == 1 else f"{self.stock.name} #{self.copy}"

    @property
    def used_length_mm(self) -> float:
        """How far along the sheet's length parts reach."""
        return max((float(one.outline_mm()[:, 0].max()) for one in self.placed), default=0.0)

    @property
    def parts_area_mm2(self) -> float:
        """Area of the parts on it."""
        return sum(one.part.area_mm2 for one in self.placed)

    @property
    def utilisation(self) -> float:
        """Share of the sheet's own area that becomes parts."""
        return self.parts_area_mm2 / float(self.stock.polygon().area)


@dataclass(frozen=True, slots=True, eq=False)
class Nesting:
    """Everything that was laid out.

    Attributes
    ----------
    rules
        Under which it was laid out.
    sheets
        Sheets in use, by material, thickness and the order of the stock.
    left_out
        Parts for which there was no room.
    """

    rules: NestRules
    sheets: tuple[LaidSheet, ...]
    left_out: tuple[PartToPlace, ...] = ()

    def placed(self) -> tuple[PlacedPart, ...]:
        """Return every placed part, by sheet."""
        return tuple(one for sheet in self.sheets for one in sheet.placed)

    def sheet_of(self, number: int) -> LaidSheet | None:
        """Return the sheet a part lies on; None where it was left out."""
        for sheet in self.sheets:
            if any(one.part.number == number for one in sheet.placed):
                return sheet
        return None
