"""Laying parts one after the other where each reaches least far: quick, for any sheet."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from fitkit.sheets.nesting import NestRules
from fitkit.sheets.open_sheet import OpenSheet, Way, probe_of, ways_of
from fitkit.sheets.part_to_place import PartToPlace
from fitkit.sheets.probe import Probe
from fitkit.sheets.search_watch import SearchWatch
from fitkit.sheets.stock_sheet import StockSheet

__all__ = ["Placer"]

# Turns tried where any will do: those that lay the part's narrowest box along the sheet, and
# these many more.
_FREE_TURNS = 20
_FEW = 24
_TURNS = ("any", "along", "across")


@dataclass(frozen=True, slots=True)
class Placer:
    """What is known of the parts before they are laid; by part number.

    Parameters
    ----------
    rules
        How parts may lie.
    parts, probes
        What to lay.
    square_turns
        The turn that lays a part's narrowest box along x.
    """

    rules: NestRules
    parts: Mapping[int, PartToPlace]
    probes: Mapping[int, Probe]
    square_turns: Mapping[int, float]

    @classmethod
    def of_parts(cls, parts: Sequence[PartToPlace], rules: NestRules) -> Placer:
        """Return the placer of some parts."""
        return cls(
            rules,
            {part.number: part for part in parts},
            {part.number: probe_of(part) for part in parts},
            {part.number: _square_turn(part.polygon()) for part in parts},
        )

    def ways(self, number: int, stock: StockSheet, turns: str = "any") -> list[Way]:
        """Return the ways a part is tried on a sheet.

        ``turns`` narrows them: ``"along"`` lays its length along the sheet, ``"across"`` square to
        it, ``"square"`` both, as far as it may; where it may turn freely ``"any"`` and ``"many"``
        try others as well.
        """
        square = self.square_turns[number]
        free = [square + quarter * math.pi / 2 for quarter in range(4)]
        count = {"any": _FREE_TURNS, "many": 2 * _FREE_TURNS}.get(turns, 0)
        free += [square + (i + 0.5) * 2 * math.pi / count for i in range(count)]
        ways = ways_of(self.parts[number], stock, self.rules, free)
        if turns in ("any", "many", "square"):
            return ways
        # Mirrored, the box lies the other way round.
        leans = [turn + square if mirrored else turn - square for turn, mirrored in ways]
        along = [abs(math.cos(lean)) > math.sqrt(0.5) for lean in leans]
        wanted = [
            way for way, is_so in zip(ways, along, strict=True) if is_so == (turns == "along")
        ]
        return wanted or ways

    def by_area(self, numbers: Iterable[int]) -> list[int]:
        """Return part numbers, the largest part first."""
        return sorted(numbers, key=lambda number: (-self.parts[number].area_mm2, number))

    def lay(
        self,
        sheet: OpenSheet,
        order: Iterable[int],
        watch: SearchWatch | None = None,
        turns: str = "any",
    ) -> list[int]:
        """Lay on a sheet what finds room, in order; return what did not, also once stopped."""
        left = []
        for number in order:
            placed = None
            if watch is None or not watch.stopped():
                ways = self.ways(number, sheet.stock, turns)
                placed = sheet.place_for(self.parts[number], self.probes[number], ways)
            if placed is None:
                left.append(number)
            else:
                sheet.add(placed)
        return left

    def lay_first(
        self, sheet: OpenSheet, numbers: Sequence[int], watch: SearchWatch | None = None
    ) -> tuple[OpenSheet, list[int]]:
        """Lay large parts first: all along, all across, or each as it reaches least; the best."""
        order = self.by_area(numbers)
        best: OpenSheet | None = None
        # Many parts are of many shapes, and take their time.
        few = len(order) <= _FEW
        for turns in _TURNS if few else _TURNS[:1]:
            tried, still = self._laid(sheet, order, watch, turns)
            if best is None or _better(tried, best):
                best, left = tried, still
        assert best is not None
        return best, left

    def _laid(
        self, sheet: OpenSheet, order: Sequence[int], watch: SearchWatch | None, turns: str
    ) -> tuple[OpenSheet, list[int]]:
        """Lay parts in order, first turned as told, then what is left as it will go."""
        tried = sheet.copied()
        left = self.lay(tried, order, watch, turns)
        if turns != "any":
            left = self.lay(tried, left, watch)
        return tried, left

    def fitting(self, numbers: Iterable[int], stock: StockSheet) -> list[int]:
        """Return those parts that have room on the sheet while it is empty."""
        sheet = OpenSheet(stock, 1, self.rules)

        def fits(number: int, turns: str) -> bool:
            ways = self.ways(number, stock, turns)
            return sheet.place_for(self.parts[number], self.probes[number], ways) is not None

        return [
            number
            for number in numbers
            if any(fits(number, turns) for turns in ("along", "across", "many"))
        ]


def _better(one: OpenSheet, other: OpenSheet) -> bool:
    gain = one.parts_area_mm2 - other.parts_area_mm2
    return gain > 1.0 or (gain > -1.0 and one.used_length_mm < other.used_length_mm - 0.1)


def _square_turn(polygon: shapely.Polygon) -> float:
    corners = shapely.get_coordinates(shapely.minimum_rotated_rectangle(polygon))
    sides = np.diff(corners[:3], axis=0)
    longest = sides[int(np.argmax(np.hypot(*sides.T)))]
    return -math.atan2(float(longest[1]), float(longest[0]))
