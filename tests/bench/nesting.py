"""How tightly parts lie: published strips against their records, and sixty plates on sheets.

Run ``python -m tests.bench.nesting [strips] [sheets] [odd] [SECONDS]``; all takes a quarter
of an hour. Each case tells the density it reached, the record, and what a plain raster bottom-left
filling reaches in the same run; every layout is checked by shapely. The time is the wall's, two
processes; processor seconds are told beside it, so that a busy machine shows. ``odd`` lays the same
parts on a plain sheet and on one that serves the placer alone: a bad zone in its corner.
"""

from __future__ import annotations

import math
import os
import resource
import sys
import time
from collections.abc import Sequence

import numpy as np
import shapely
from scipy.signal import fftconvolve

from fitkit.body.side import Side
from fitkit.geometry.arrays import Bools, Floats
from fitkit.sheets.few_turns_strip import compile_loops
from fitkit.sheets.layout_check import layout_faults
from fitkit.sheets.nest_parts import nest_parts
from fitkit.sheets.nesting import Nesting, NestRules
from fitkit.sheets.part_to_place import PartToPlace
from fitkit.sheets.search_watch import SearchWatch
from fitkit.sheets.stock_sheet import StockSheet, rectangle_mm
from fitkit.sheets.strip import StripLayout, StripRun
from tests.references.strip_instances import FOLDER, StripInstance, read_instance

STRIPS = ("swim", "shirts", "trousers", "albano")
_CELLS_ACROSS = 200


def raster_bottom_left(
    outlines: Sequence[Floats],
    turns: Sequence[Sequence[float]],
    width: float,
    gap: float = 0.0,
) -> float:
    """Return the length a strip takes filled cell by cell, large pieces first, least x first."""
    cell = width / _CELLS_ACROSS
    order = np.argsort([-shapely.Polygon(outline).area for outline in outlines])
    total = sum(float(np.ptp(outlines[i], axis=0).max()) for i in order)
    taken = np.zeros((_CELLS_ACROSS, math.ceil(total / cell)), dtype=np.float64)
    used = 0
    for index in order:
        best: tuple[int, int, int, Bools] | None = None
        for turn in turns[index]:
            c, s = math.cos(turn), math.sin(turn)
            mask = _mask(outlines[index] @ np.array([[c, s], [-s, c]]), cell, gap)
            if mask.shape[0] > _CELLS_ACROSS:
                continue
            window = min(taken.shape[1], used + 2 * mask.shape[1])
            hit = fftconvolve(taken[:, :window], mask[::-1, ::-1].astype(float), mode="valid")
            free = np.argwhere((hit < 0.5).T)
            if len(free) and (best is None or free[0][0] + mask.shape[1] < best[0]):
                column, row = (int(x) for x in free[0])
                best = column + mask.shape[1], row, column, mask
        assert best is not None
        reach, row, column, mask = best
        taken[row : row + mask.shape[0], column : column + mask.shape[1]] += mask
        used = max(used, reach)
    return used * cell


def _mask(outline: Floats, cell: float, gap: float) -> Bools:
    """Return the cells a piece grown by half the gap touches."""
    grown = shapely.Polygon(outline).buffer(0.5 * gap + 0.01 * cell)
    x0, y0, x1, y1 = grown.bounds
    x = x0 + cell * np.arange(math.ceil((x1 - x0) / cell))
    y = y0 + cell * np.arange(math.ceil((y1 - y0) / cell))
    boxes = shapely.box(x[None, :], y[:, None], x[None, :] + cell, y[:, None] + cell)
    shapely.prepare(grown)
    touched: Bools = shapely.intersects(grown, boxes)
    return touched


def squeeze(instance: StripInstance, seconds: float) -> tuple[float, float]:
    """Return the length two workers reach, and the processor seconds they took."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    started = time.monotonic()
    with StripRun(
        instance.outlines,
        instance.turns_rad,
        width_mm=instance.width,
        gap_mm=0.0,
        seconds=seconds,
        seed=1,
        workers=2,
    ) as run:
        while time.monotonic() - started < seconds + 1.0 and not run.ended:
            run.look(0.2)
    best = run.best
    assert best is not None, run.fault
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    assert_holds(instance, best)
    return best.length_mm, after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def assert_holds(instance: StripInstance, layout: StripLayout) -> None:
    """Fail where pieces overlap by more than a millionth of their area, or stand out."""
    placed = []
    for outline, (x, y, turn) in zip(instance.outlines, layout.places, strict=True):
        c, s = math.cos(turn), math.sin(turn)
        placed.append(shapely.Polygon(outline @ np.array([[c, s], [-s, c]]) + [x, y]))
    covered = float(shapely.union_all(placed).area)
    # spyrrow counts in single precision.
    assert covered > (1.0 - 1e-5) * instance.area, "pieces overlap"
    x0, y0, x1, y1 = shapely.total_bounds(placed)
    slack = 1e-5 * instance.width
    assert min(x0, y0, layout.length_mm - x1, instance.width - y1) > -slack, "a piece stands out"


def strips(seconds: float) -> None:
    """Print a row for each published strip."""
    if not FOLDER.is_dir():
        print(f"The published instances are not at {FOLDER}.")
        return
    compile_loops()
    print(
        f"{'strip':10s} {'reached':>8s} {'record':>8s} {'short':>7s} {'raster':>8s} {'ratio':>6s}"
    )
    for name in STRIPS:
        instance = read_instance(name)
        quarters = [turn or (0.0, math.pi) for turn in instance.turns_rad]
        plain = instance.density(raster_bottom_left(instance.outlines, quarters, instance.width))
        length, cpu = squeeze(instance, seconds)
        reached = instance.density(length)
        print(
            f"{name:10s} {100 * reached:8.2f} {100 * instance.record:8.2f} "
            f"{100 * (instance.record - reached):7.2f} {100 * plain:8.2f} "
            f"{reached / plain:6.3f}   {cpu:.0f} CPU s of {2 * seconds:.0f}",
            flush=True,
        )


def thirty_plates() -> list[Floats]:
    """Return thirty blanks of five kinds: shields, lames, greaves, notched cops, round plates."""
    rng = np.random.default_rng(7)
    around = np.linspace(0.0, 2.0 * np.pi, 72, endpoint=False)
    blanks = []
    for index in range(30):
        kind = index % 5
        if kind == 0:
            w, h = rng.uniform(120, 190), rng.uniform(180, 260)
            shield = np.column_stack(
                [
                    w * np.sign(np.cos(around)) * np.abs(np.cos(around)) ** 0.8,
                    h * np.sign(np.sin(around)) * np.abs(np.sin(around)) ** 0.8,
                ]
            )
            arm = np.column_stack([0.45 * w * np.cos(around), 0.5 * h * np.sin(around)])
            shape = shapely.Polygon(shield).difference(
                shapely.Polygon(arm + np.array([1.1 * w, 0.55 * h]))
            )
        elif kind == 1:
            shape = _sector(rng.uniform(180, 320), rng.uniform(1.0, 1.9), rng.uniform(45, 85), 30)
        elif kind == 2:
            inner = rng.uniform(300, 500)
            high = rng.uniform(250, 330)
            shape = _sector(inner, rng.uniform(0.35, 0.55), high, 20)
        else:
            if kind == 3:
                r = rng.uniform(70, 110) * (
                    1
                    + 0.25 * np.cos(2 * around + rng.uniform(0, 6))
                    + 0.1 * np.cos(3 * around + rng.uniform(0, 6))
                )
            else:
                r = rng.uniform(90, 140) * (
                    1
                    + sum(
                        rng.uniform(-0.15, 0.15) * np.cos(m * around + rng.uniform(0, 6))
                        for m in (2, 3, 4, 5)
                    )
                )
            shape = shapely.Polygon(np.column_stack([r * np.cos(around), r * np.sin(around)]))
            if kind == 3:
                d = rng.uniform(0, 6.28)
                tips = [[200 * np.cos(a), 200 * np.sin(a)] for a in (d, d + 0.25)]
                shape = shape.difference(shapely.Polygon([[0.0, 0.0], *tips]))
        shape = max(shapely.get_parts(shape.simplify(0.3)), key=lambda one: float(one.area))
        ring = shapely.get_coordinates(shapely.orient_polygons(shape).exterior)[:-1]
        turn = np.radians(rng.uniform(0, 360))
        c, s = np.cos(turn), np.sin(turn)
        blanks.append((ring - [shape.centroid.x, shape.centroid.y]) @ np.array([[c, s], [-s, c]]))
    return blanks


def _sector(inner: float, angle: float, wide: float, steps: int) -> shapely.Polygon:
    a = np.linspace(-0.5 * angle, 0.5 * angle, steps)
    way = np.column_stack([np.sin(a), np.cos(a)])
    return shapely.Polygon(np.vstack([(inner + wide) * way, inner * way[::-1]]))


def sixty_parts() -> list[PartToPlace]:
    """Return the plates and their mirror images."""
    blanks = thirty_plates()
    both = blanks + [blank[::-1] * [-1.0, 1.0] for blank in blanks]
    return [
        PartToPlace(n, f"plate {n}", Side.CENTRE, "card", 1.0, outline)
        for n, outline in enumerate(both, start=1)
    ]


def used_length_mm(nesting: Nesting) -> float:
    """Return full sheets at their length and the last as far as parts and the margin reach."""
    lengths = sorted(sheet.used_length_mm for sheet in nesting.sheets)
    whole = sum(sheet.stock.size_mm[0] for sheet in nesting.sheets[1:])
    return lengths[0] + nesting.rules.margin_mm + whole


def sheets(seconds: float) -> None:
    """Print how much of 2 x 1 m sheets sixty parts take, 3 mm apart and from the edge."""
    parts = sixty_parts()
    area = sum(part.area_mm2 for part in parts) / 1e6
    quarters = [[k * math.pi / 2 for k in range(4)]] * len(parts)
    plain = raster_bottom_left([part.outline_mm for part in parts], quarters, 1000.0, 3.0)
    print(f"{len(parts)} parts of {area:.2f} m²; raster bottom-left {plain:.0f} mm", flush=True)
    stock = [StockSheet("2 x 1 m", "card", 1.0, rectangle_mm(2000.0, 1000.0), quantity=None)]
    started = time.monotonic()
    before = sum(os.times()[:4])
    told: list[str] = []

    def better(nesting: Nesting) -> None:
        words = f"{time.monotonic() - started:6.1f} s  {used_length_mm(nesting):7.1f} mm"
        if not told or time.monotonic() - started - float(told[-1].split()[0]) > 5.0:
            told.append(words)
            print(words, flush=True)

    result = nest_parts(
        parts, stock, NestRules(3.0, 3.0), watch=SearchWatch(seconds), better=better
    )
    cpu = sum(os.times()[:4]) - before
    assert layout_faults(result.nesting, parts, stock) == ()
    for sheet in result.nesting.sheets:
        print(f"  {sheet.title}: {len(sheet.placed)} parts, {100 * sheet.utilisation:.1f} % used")
    print(
        f"{used_length_mm(result.nesting):.0f} mm used in {time.monotonic() - started:.0f} s, "
        f"{cpu:.0f} CPU s"
    )


def odd(seconds: float) -> None:
    """Print what twenty parts take of a plain sheet, by strips, and of one with a bad corner."""
    parts = sixty_parts()[:20]
    corner = np.array([[2990.0, 990.0], [3000.0, 990.0], [3000.0, 1000.0], [2990.0, 1000.0]])
    for words, bad in (("plain sheet, strips", ()), ("bad corner, placer", (corner,))):
        stock = [StockSheet("3 x 1 m", "card", 1.0, rectangle_mm(3000.0, 1000.0), bad_zones_mm=bad)]
        before = sum(os.times()[:4])
        result = nest_parts(parts, stock, NestRules(3.0, 3.0), watch=SearchWatch(seconds))
        assert layout_faults(result.nesting, parts, stock) == ()
        cpu = sum(os.times()[:4]) - before
        print(f"{words:20s} {used_length_mm(result.nesting):7.0f} mm  {cpu:.0f} CPU s", flush=True)


def main() -> None:
    """Run the cases named, all without names."""
    numbers = [float(word) for word in sys.argv[1:] if word.replace(".", "").isdigit()]
    cases = ("strips", "sheets", "odd")
    wanted = [word for word in sys.argv[1:] if word in cases] or list(cases)
    seconds = numbers[0] if numbers else 120.0
    if "sheets" in wanted:
        sheets(seconds)
    if "strips" in wanted:
        strips(seconds)
    if "odd" in wanted:
        odd(0.25 * seconds)


if __name__ == "__main__":
    main()
