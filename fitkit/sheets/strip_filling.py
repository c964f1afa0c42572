"""Filling a plain rectangle by squeezing strips: which parts it can hold, and how short."""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from fitkit.geometry.arrays import Floats
from fitkit.sheets.few_turns_strip import compile_loops
from fitkit.sheets.layout_check import sheet_faults
from fitkit.sheets.nesting import LaidSheet, PlacedPart
from fitkit.sheets.open_sheet import OpenSheet
from fitkit.sheets.openings import carried_along, guests_in_openings
from fitkit.sheets.part_to_place import PartToPlace
from fitkit.sheets.placing import Placer
from fitkit.sheets.search_watch import SearchWatch
from fitkit.sheets.strip import StripLayout, StripRun
from fitkit.sheets.strip_process import suits_few_turns

__all__ = ["fill_by_strips"]

_MOST_WORKERS = 4
# More than this share of a rectangle is not hoped for from parts that are no rectangles.
_FULLEST = 0.96
# Shares of the sheet between what is known to fit and what did not, where trying on is worth it.
_CLOSE_ENOUGH = 0.006
_FIRST_REACH, _NEXT_REACH = 0.06, 0.03
_ORDER_NOISE = 0.25
_LOOK_SECONDS = 0.05
# Tries share the time by about this many rounds.
_ROUNDS = 3.0
_LEAST_TRY_SECONDS = 3.0
# Half way through its time a try that is longer than the sheet by this has no prospect.
_HOPELESS = 1.05
_BIT_MORE = 1.012
# The strip's own rounding.
_SAFE_MM = 0.002
# Strips are squeezed faster with fewer corners; a tenth of a millimetre buys most of them.
_MANY_CORNERS, _SIMPLER_MM = 40, 0.1


@dataclass(slots=True)
class _Try:
    """One strip under way: which parts, their area, and until when it may go on."""

    run: StripRun
    workers: int
    numbers: list[int]
    area_mm2: float
    whole: bool
    started: float
    seconds: float


class _StripFilling:
    def __init__(
        self,
        placer: Placer,
        sheet: OpenSheet,
        left: Sequence[int],
        watch: SearchWatch,
        seed: int,
        better: Callable[[LaidSheet], None] | None,
    ) -> None:
        self.placer, self.watch, self.seed, self.better = placer, watch, seed, better
        self.best, self.left = sheet.laid(), list(left)
        self.stock, self.copy, self.rules = sheet.stock, sheet.copy, sheet.rules
        self.every = every = placer.by_area([*sheet.placed, *left])
        self.guests = guests_in_openings(placer, every, sheet.stock)
        carried = {one.part.number for guests in self.guests.values() for one in guests}
        self.numbers = [number for number in every if number not in carried]
        self.length_mm, self.width_mm = sheet.stock.size_mm
        self.rng = np.random.default_rng(seed)
        # With what lies in its openings.
        self.area = {
            number: placer.parts[number].area_mm2
            + sum(one.part.area_mm2 for one in self.guests.get(number, ()))
            for number in self.numbers
        }
        self.total = sum(self.area.values())
        self.known = sheet.parts_area_mm2
        usable = (self.length_mm - 2 * self.rules.margin_mm) * (
            self.width_mm - 2 * self.rules.margin_mm
        )
        self.usable = usable
        self.failed = min(_FULLEST * usable, self.known + _FIRST_REACH * usable)
        self.rounds = _ROUNDS
        self.tries: list[_Try] = []
        self.fault = ""

    def run(self) -> None:
        most = min(_MOST_WORKERS, os.cpu_count() or 1)
        try:
            while not self.watch.over() and not self.fault:
                while (free := most - sum(one.workers for one in self.tries)) > 0:
                    if not self._start(free):
                        break
                if not self.tries:
                    break
                for one in list(self.tries):
                    if one in self.tries:  # another's layout may have ended it meanwhile
                        self._look_at(one)
        finally:
            for one in self.tries:
                one.run.stop()

    def _start(self, free: int) -> bool:
        """Start one more try with some of the free workers; False when none is worth it."""
        whole = not self.left or self.total <= self.failed
        if whole:
            numbers = self.numbers
        else:
            if self.failed - self.known < _CLOSE_ENOUGH * self.usable:
                # Nothing more in so short a time: try again for longer.
                self.failed = min(_FULLEST * self.usable, self.known + _NEXT_REACH * self.usable)
                self.rounds *= 0.5
            share = 0.5 if not self.tries else 0.85
            numbers = self._subset(self.known + share * (self.failed - self.known))
            if not numbers:
                return False
        self.seed += 1
        margin, gap = self.rules.margin_mm, self.rules.gap_mm
        parts = [self.placer.parts[number] for number in numbers]
        turns = [self.rules.turns_rad(part, self.stock) for part in parts]
        # The last sheet's strip may press on till the end; others end when they fit.
        everything = not self.left
        seconds = self.watch.left()
        if not everything:
            seconds = min(seconds, max(_LEAST_TRY_SECONDS, self.watch.seconds / self.rounds))
        outlines = [_around(part) for part in parts]
        tables = suits_few_turns(outlines, turns, seconds)
        if tables:
            compile_loops()
        # By tables several press one strip together; otherwise each tries for itself.
        workers = free if whole and tables else 1
        run = StripRun(
            outlines,
            turns,
            # A strip keeps its gap from its own edges too.
            width_mm=self.width_mm - 2.0 * margin + 2.0 * gap,
            gap_mm=gap + _SAFE_MM,
            seconds=seconds,
            seed=self.seed,
            workers=workers,
        )
        area = sum(self.area[number] for number in numbers)
        self.tries.append(_Try(run, workers, numbers, area, whole, time.monotonic(), seconds))
        return True

    def _subset(self, wanted_mm2: float) -> list[int]:
        """Return parts of about this area, large ones first, each time others."""
        noise = 1.0 + _ORDER_NOISE * self.rng.uniform(-1.0, 1.0, len(self.numbers))
        if not self.tries:
            noise[:] = 1.0
        order = np.argsort([-self.area[n] * f for n, f in zip(self.numbers, noise, strict=True)])
        chosen, total = [], 0.0
        for index in order:
            number = self.numbers[int(index)]
            if total + self.area[number] <= wanted_mm2:
                chosen.append(number)
                total += self.area[number]
        return chosen if total > self.known else []

    def _look_at(self, one: _Try) -> None:
        came = one.run.look(_LOOK_SECONDS)
        limit = self.length_mm - 2.0 * self.rules.margin_mm + 2.0 * self.rules.gap_mm
        best = one.run.best
        if came and best is not None and best.length_mm <= limit:
            self._keep(one, best)
            if one.whole:
                return
            self._end(one)
            for other in list(self.tries):
                if not other.whole and other.area_mm2 <= self.known:
                    self._end(other)
            return
        gone = time.monotonic() - one.started
        longer = best is None or best.length_mm > _HOPELESS * limit
        if one.run.ended or gone > one.seconds or (gone > 0.5 * one.seconds and longer):
            self.fault = self.fault or one.run.fault
            self._end(one)
            if best is None or best.length_mm > limit:
                # So dense it came; on the sheet itself it would hold about as much.
                likely = one.area_mm2 * (limit / best.length_mm if best is not None else 0.9)
                self.failed = min(self.failed, one.area_mm2, _BIT_MORE * likely)

    def _end(self, one: _Try) -> None:
        one.run.stop()
        self.tries.remove(one)

    def _keep(self, one: _Try, layout: StripLayout) -> None:
        """Take a layout over when it is better and stands a closer look."""
        more = one.area_mm2 > self.known + 1.0
        if one.area_mm2 < self.known - 1.0:
            return
        shift = self.rules.margin_mm - self.rules.gap_mm
        placed: list[PlacedPart] = []
        for number, (x, y, turn) in zip(one.numbers, layout.places, strict=True):
            host = PlacedPart(self.placer.parts[number], np.array([x + shift, y + shift]), turn)
            placed += [host, *(carried_along(g, host) for g in self.guests.get(number, ()))]
        laid = LaidSheet(self.stock, self.copy, tuple(placed))
        if sheet_faults(laid, self.rules):
            return
        if more or laid.used_length_mm < self.best.used_length_mm:
            self.best, self.known = laid, one.area_mm2
            held = {one.part.number for one in placed}
            self.left = [n for n in self.every if n not in held]
            if self.better is not None:
                self.better(laid)
            self.watch.tell(
                f"{laid.title}: {len(placed)} parts on "
                f"{laid.used_length_mm:.0f} mm, {100.0 * laid.utilisation:.0f} % used",
            )


def _around(part: PartToPlace) -> Floats:
    """Return an outline of few corners that the part lies wholly in."""
    polygon = shapely.Polygon(part.polygon().exterior)
    if len(polygon.exterior.coords) > _MANY_CORNERS:
        polygon = polygon.buffer(1.1 * _SIMPLER_MM, quad_segs=2).simplify(_SIMPLER_MM)
    ring: Floats = shapely.get_coordinates(shapely.orient_polygons(polygon).exterior)[:-1]
    return ring


def fill_by_strips(
    placer: Placer,
    sheet: OpenSheet,
    left: Sequence[int],
    watch: SearchWatch,
    *,
    seed: int,
    better: Callable[[LaidSheet], None] | None = None,
) -> tuple[OpenSheet, list[int], str]:
    """Fill a plain rectangle better than it is, trying ever more parts while there is time.

    Parameters
    ----------
    sheet
        As filled so far; what is on it may come to lie elsewhere on it, or be left for another.
    left
        Numbers of further parts that could lie on it.
    better
        Called with each better layout of the sheet as it is found.

    Returns
    -------
    sheet
        At least as good: more area of parts, or the same on less length.
    left
        Numbers of the parts that are not on it, the largest first.
    fault
        Why strips could not be squeezed at all; empty when they could.
    """
    filling = _StripFilling(placer, sheet, left, watch, seed, better)
    filling.run()
    if filling.known > sheet.parts_area_mm2 + 1.0 or (
        filling.best.used_length_mm < sheet.used_length_mm
    ):
        sheet = OpenSheet(sheet.stock, sheet.copy, sheet.rules)
        for placed in filling.best.placed:
            sheet.add(placed)
    return sheet, filling.left, filling.fault
