"""Tries at a full sheet side by side: what one of them finds may end the others."""

from __future__ import annotations

from collections.abc import Sequence
from typing import ClassVar

import numpy as np
import pytest

from fitkit.geometry.arrays import Floats
from fitkit.sheets import strip_filling
from fitkit.sheets.nesting import NestRules, PlacedPart
from fitkit.sheets.open_sheet import OpenSheet
from fitkit.sheets.placing import Placer
from fitkit.sheets.search_watch import SearchWatch
from fitkit.sheets.strip import StripLayout
from tests.sheets.pieces import box, sheet


class Rows:
    """A strip that lays boxes of one width in a row, and has its layout when first looked at."""

    made: ClassVar[list[Rows]] = []

    def __init__(
        self, outlines_mm: Sequence[Floats], _turns_rad: object, *, gap_mm: float, **_: object
    ) -> None:
        Rows.made.append(self)
        lengths = [float(np.ptp(outline[:, 0])) + gap_mm for outline in outlines_mm]
        starts = gap_mm + np.cumsum([0.0, *lengths[:-1]])
        self._best = StripLayout(
            sum(lengths) + gap_mm,
            tuple((float(x), gap_mm + 1.0, 0.0) for x in starts),
        )
        self.best: StripLayout | None = None
        self.ended = self.stopped = False
        self.fault = ""

    def look(self, seconds: float) -> bool:  # noqa: ARG002
        assert not self.stopped, "looked at after its end"
        came, self.ended = self.best is None, self.best is not None
        self.best = self._best
        return came

    def stop(self) -> None:
        self.stopped = True


def test_a_try_that_another_one_ended_is_not_looked_at(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(strip_filling, "StripRun", Rows)
    monkeypatch.setattr(strip_filling, "compile_loops", lambda: None)
    monkeypatch.setattr(strip_filling.os, "cpu_count", lambda: 3)
    monkeypatch.setattr(Rows, "made", [])
    stock, rules = sheet(2000.0, 110.0, grain_rad=0.0), NestRules(gap_mm=3.0, margin_mm=5.0)
    parts = [box(20.0 + number, 90.0, number, grain_rad=0.0) for number in range(1, 61)]
    placer = Placer.of_parts(parts, rules)
    begun = OpenSheet(stock, 0, rules)
    for number in range(1, 31):
        begun.add(PlacedPart(placer.parts[number], np.array([60.0 * number - 50.0, 6.0]), 0.0))
    left = list(range(31, 61))
    watch = SearchWatch(60.0, cancelled=lambda: len(Rows.made) > 40)
    found, still_left, fault = strip_filling.fill_by_strips(placer, begun, left, watch, seed=1)
    assert fault == ""
    assert found.parts_area_mm2 > begun.parts_area_mm2
    assert sorted([*found.placed, *still_left]) == list(range(1, 61))
    assert any(one.stopped and one.best is None for one in Rows.made)  # ended unseen by another
