"""No layout ever breaks a rule: random parts on random sheets, looked at by shapely alone."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from fitkit.geometry.arrays import Floats
from fitkit.sheets.kept_places import PinnedPlace
from fitkit.sheets.layout_check import layout_faults
from fitkit.sheets.nest_parts import nest_parts
from fitkit.sheets.nesting import NestRules
from fitkit.sheets.part_to_place import PartToPlace
from fitkit.sheets.search_watch import SearchWatch
from fitkit.sheets.stock_sheet import StockSheet, rectangle_mm
from tests.sheets.pieces import part, ring_mm

JOBS_A_BLOCK = 20


def _star(rng: np.random.Generator, size: float) -> Floats:
    """Return a random outline, star-shaped about the origin, seldom convex."""
    around = np.sort(rng.uniform(0.0, 2.0 * np.pi, rng.integers(5, 24)))
    around += np.linspace(0.0, 1e-3, len(around))
    reach = size * rng.uniform(0.35, 1.0, len(around))
    points: Floats = np.column_stack([reach * np.cos(around), reach * np.sin(around)])
    if np.diff(around, append=around[0] + 2 * np.pi).max() > 3.0:
        return ring_mm(size, 12)
    return points


def _parts(rng: np.random.Generator) -> list[PartToPlace]:
    parts = []
    for number in range(1, rng.integers(4, 9)):
        size = float(rng.uniform(20.0, 110.0))
        if rng.random() < 0.2:
            made = part(ring_mm(size), number, openings_mm=(ring_mm(0.75 * size),))
        elif rng.random() < 0.2:
            made = part(rectangle_mm(2.0 * size, 0.5 * size), number)
        else:
            grain = rng.uniform(0.0, np.pi) if rng.random() < 0.3 else None
            made = part(_star(rng, size), number, grain_rad=grain)
        parts.append(made)
    return parts


def _stock(rng: np.random.Generator) -> list[StockSheet]:
    rows = []
    for index in range(rng.integers(1, 4)):
        length, width = rng.uniform(250.0, 700.0), rng.uniform(200.0, 450.0)
        outline = rectangle_mm(length, width) if rng.random() < 0.5 else _star(rng, length) * 0.8
        zones = []
        if rng.random() < 0.3:
            zones = [_star(rng, 40.0) + rng.uniform([0.0, 0.0], [length, width])]
        grain = rng.uniform(0.0, np.pi) if rng.random() < 0.4 else None
        faced = bool(rng.random() < 0.5)
        quantity = [1, 2, None][int(rng.integers(3))]
        rows.append(
            StockSheet(f"row {index}", "card", 1.0, outline, quantity, tuple(zones), grain, faced)
        )
    return rows


def _rules(rng: np.random.Generator) -> NestRules:
    gap, margin = rng.choice([0.0, 2.0, 3.0, 6.0]), rng.choice([0.0, 4.0, 9.0])
    step = [None, np.pi / 2, np.pi / 6, np.pi][int(rng.integers(4))]
    return NestRules(float(gap), float(margin), step, mirrored=bool(rng.random() < 0.5))


@pytest.mark.parametrize("block", range(10))
def test_two_hundred_random_jobs_without_one_fault(block: int) -> None:
    placed = 0
    for seed in range(block * JOBS_A_BLOCK, (block + 1) * JOBS_A_BLOCK):
        rng = np.random.default_rng(seed)
        parts, stock, rules = _parts(rng), _stock(rng), _rules(rng)
        pins = []
        if rng.random() < 0.3:
            at, turn = rng.uniform(60.0, 160.0, 2), rng.uniform(0.0, 6.0)
            pins = [PinnedPlace(parts[0].title, "row 0", 1, at, float(turn))]
        # One job in fifty squeezes strips as well.
        seconds = 1.0 if seed % 50 == 0 else 0.0
        result = nest_parts(parts, stock, rules, watch=SearchWatch(seconds), pinned=pins)
        assert layout_faults(result.nesting, parts, result.stock) == (), f"seed {seed}"
        placed += len(result.nesting.placed())
        for sheet in result.nesting.sheets:
            union = shapely.union_all([one.polygon() for one in sheet.placed])
            assert union.area == pytest.approx(sheet.parts_area_mm2)
    assert placed > 2 * JOBS_A_BLOCK
