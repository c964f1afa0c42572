"""A sheet being laid out: where a further part may lie beside those that are there."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np
import shapely

from fitkit.geometry.arrays import Floats
from fitkit.sheets.clearance_grid import ClearanceGrid, Patch
from fitkit.sheets.nesting import LaidSheet, NestRules, PlacedPart
from fitkit.sheets.part_to_place import PartToPlace
from fitkit.sheets.probe import Probe, corner_places, first_place
from fitkit.sheets.stock_sheet import StockSheet

__all__ = ["OpenSheet", "Way", "probe_of", "ways_of"]

_REACH_MM = 60.0
_NODES = 120_000
_LEAST_CELL_MM, _LARGEST_CELL_MM = 2.5, 6.0
_RIM_STEP_MM = 6.0
# What is between nodes can be less clear than they tell, by about this share of a cell next to a
# sharp corner; asked for beyond it when that was not enough.
_SPARE_CELLS = (0.0, 0.25, 0.8)
# Next to a corner of the sheet they tell too little by as much.
_CORNER_CELLS = 0.3
_HAIR_MM = 1e-4
# What is exactly as far off as asked is not too close.
_ROUNDING_MM = 1e-7
_SQUARE_WAYS = 4
_PUSHES = (1.0, 0.3, 0.08)
_MOST_PUSHES = 12

Way = tuple[float, bool]
"""How a part lies: its turn, radians, and whether it is mirrored."""


def probe_of(part: PartToPlace) -> Probe:
    """Return the probe of a part as it lies on its template."""
    return Probe.of_polygon(part.polygon(), step_mm=_RIM_STEP_MM, reach_mm=_REACH_MM)


class OpenSheet:
    """One sheet with the parts laid on it so far.

    Attributes
    ----------
    placed
        By part number, in the order they were laid.
    """

    def __init__(self, stock: StockSheet, copy: int, rules: NestRules) -> None:
        self.stock, self.copy, self.rules = stock, copy, rules
        self.placed: dict[int, PlacedPart] = {}
        self._polygons: dict[int, shapely.Polygon] = {}
        self._bounds: dict[int, tuple[float, float, float, float]] = {}
        self._patches: dict[int, Patch] = {}
        self._sheet = stock.polygon()
        self._bad = [shapely.Polygon(zone).buffer(0) for zone in stock.bad_zones_mm]
        length, width = stock.size_mm
        cell = math.sqrt(length * width / _NODES)
        cell = min(max(cell, _LEAST_CELL_MM), _LARGEST_CELL_MM)
        self._grid = ClearanceGrid(length, width, cell, _REACH_MM)
        self._grid.take(self._grid.patch_of(self._sheet, rules.margin_mm, inside=True))
        for zone in self._bad:
            self._grid.take(self._grid.patch_of(zone, rules.margin_mm))
        self._base = self._grid.values.copy()
        self._edge = self._sheet.exterior
        shapely.prepare(self._sheet)

    @property
    def area_mm2(self) -> float:
        """The sheet's own area."""
        return float(self._sheet.area)

    @property
    def parts_area_mm2(self) -> float:
        """Area of the parts on it."""
        return sum(float(polygon.area) for polygon in self._polygons.values())

    @property
    def used_length_mm(self) -> float:
        """How far along x parts reach."""
        return max((bounds[2] for bounds in self._bounds.values()), default=0.0)

    def laid(self) -> LaidSheet:
        """Return it as it is."""
        return LaidSheet(self.stock, self.copy, tuple(self.placed.values()))

    def copied(self) -> OpenSheet:
        """Return a sheet of its own with the same parts."""
        other = object.__new__(OpenSheet)
        for name, value in vars(self).items():
            setattr(other, name, dict(value) if isinstance(value, dict) else value)
        other._grid = ClearanceGrid(0.0, 0.0, self._grid.cell_mm, _REACH_MM)
        other._grid.values = self._grid.values.copy()
        return other

    def add(self, placed: PlacedPart) -> None:
        """Lay a part where it is told, whatever is there."""
        number, polygon = placed.part.number, placed.polygon()
        self.placed[number] = placed
        self._polygons[number] = polygon
        self._bounds[number] = polygon.bounds
        self._patches[number] = self._grid.patch_of(polygon, self.rules.gap_mm)
        self._grid.take(self._patches[number])

    def remove(self, numbers: Iterable[int]) -> None:
        """Take parts off it."""
        for number in numbers:
            for held in (self.placed, self._polygons, self._bounds, self._patches):
                del held[number]
        self._grid.retake(self._base, list(self._patches.values()))

    def is_clear(self, polygon: shapely.Polygon) -> bool:
        """Tell whether a part may lie here, worked out exactly."""
        margin = self.rules.margin_mm - _ROUNDING_MM
        gap = self.rules.gap_mm - _ROUNDING_MM
        if not self._sheet.covers(polygon):
            return False
        if margin > 0 and self._edge.distance(polygon) < margin:
            return False
        if any(not _apart(zone, polygon, margin) for zone in self._bad):
            return False
        x0, y0, x1, y1 = polygon.bounds
        for number, (a0, b0, a1, b1) in self._bounds.items():
            near = a0 - gap < x1 and x0 < a1 + gap and b0 - gap < y1 and y0 < b1 + gap
            if near and not _apart(self._polygons[number], polygon, gap):
                return False
        return True

    def place_for(
        self, part: PartToPlace, probe: Probe, ways: Sequence[Way], *, before_mm: float = math.inf
    ) -> PlacedPart | None:
        """Return the part where it reaches least far along the sheet; None where it has no room.

        Parameters
        ----------
        probe
            Of the part as on its template.
        ways
            How it may lie; with the first four it is also tried square in corners.
        before_mm
            Along x it may not reach further than this.
        """
        best: PlacedPart | None = None
        reach = before_mm
        for index, (turn, mirrored) in enumerate(ways):
            turned = probe.turned(turn, mirrored=mirrored)
            if index < _SQUARE_WAYS:
                for shift in self._corners(turned, reach):
                    placed = PlacedPart(part, shift, turn, mirrored)
                    if self.is_clear(placed.polygon()):
                        best, reach = placed, float(shift[0] + turned.high[0])
                        break
            for spare in _SPARE_CELLS:
                found = first_place(
                    self._grid, turned, before_mm=reach, spare_mm=spare * self._grid.cell_mm
                )
                if found is None:
                    break
                placed = PlacedPart(part, found, turn, mirrored)
                polygon = placed.polygon()
                if self.is_clear(polygon):
                    best, reach = self._pushed(placed, polygon)
                    break
        return best

    def _corners(self, turned: Probe, before_mm: float) -> Floats:
        """Return shifts at which a part's box touches two others', or the edge's, (P, 2) mm."""
        boxes = np.array(list(self._bounds.values())).reshape(-1, 4)
        margin, gap = self.rules.margin_mm, self.rules.gap_mm
        size = self.stock.size_mm
        axes = [
            np.concatenate(
                [
                    [margin, size[axis] - margin - (turned.high - turned.low)[axis]],
                    boxes[:, axis + 2] + gap + _HAIR_MM,
                    boxes[:, axis] - gap - _HAIR_MM - (turned.high - turned.low)[axis],
                ]
            )
            - turned.low[axis]
            for axis in (0, 1)
        ]
        return corner_places(
            self._grid,
            turned,
            *axes,
            before_mm=before_mm,
            spare_mm=-_CORNER_CELLS * self._grid.cell_mm,
        )

    def _pushed(self, placed: PlacedPart, polygon: shapely.Polygon) -> tuple[PlacedPart, float]:
        """Return a part moved back and down until it meets something, and how far it reaches."""
        total = np.zeros(2)
        for share in _PUSHES:
            step = share * self._grid.cell_mm
            for _ in range(_MOST_PUSHES):
                moved = False
                for way in (np.array([-step, 0.0]), np.array([0.0, -step])):
                    there = shapely.transform(polygon, lambda xy, way=way: xy + way)
                    if self.is_clear(there):
                        polygon, total, moved = there, total + way, True
                if not moved:
                    break
        kept = replace(placed, shift_mm=placed.shift_mm + total)
        return kept, float(polygon.bounds[2])


def _apart(one: shapely.Geometry, other: shapely.Geometry, gap_mm: float) -> bool:
    if gap_mm > 0:
        return not shapely.dwithin(one, other, gap_mm)
    return bool(one.intersection(other).area < 1e-9)


def ways_of(
    part: PartToPlace, stock: StockSheet, rules: NestRules, free: Sequence[float]
) -> list[Way]:
    """Return the ways a part may lie on a sheet; ``free`` holds turns to try where any will do."""
    ways: list[Way] = []
    for mirrored in (False, True) if rules.may_mirror(stock) else (False,):
        turns = rules.turns_rad(part, stock, mirrored=mirrored)
        ways += [(float(turn), mirrored) for turn in (free if turns is None else turns)]
    return ways
