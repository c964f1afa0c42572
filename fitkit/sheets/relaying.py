"""Taking some parts off and laying them anew: what makes layouts better that no strip can fill."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from fitkit.sheets.layout_score import layout_score
from fitkit.sheets.nesting import Nesting
from fitkit.sheets.open_sheet import OpenSheet
from fitkit.sheets.placing import Placer
from fitkit.sheets.quick_layout import lay_quickly
from fitkit.sheets.search_watch import SearchWatch
from fitkit.sheets.stock_sheet import StockSheet

__all__ = ["relay"]

_MOST_OFF = 6
# Of the rounds this share begins at the part that reaches furthest on a sheet.
_AT_THE_END = 0.5
_ORDER_NOISE = 0.5
# At first a layout is gone on from when its loose ends are this share larger than the best one's.
_SLACK = 0.03
_TURNS = ("any", "square", "along", "across")


def relay(
    placer: Placer,
    stock: Sequence[StockSheet],
    groups: Sequence[Sequence[int]],
    sheets: Sequence[OpenSheet],
    watch: SearchWatch,
    *,
    seed: int,
    as_nesting: Callable[[Sequence[OpenSheet]], Nesting],
    better: Callable[[Nesting], None],
) -> None:
    """Take a few parts off that lie near each other, lay them again, keep what is no worse.

    Pinned parts stay. What had no room is tried again each time.

    Parameters
    ----------
    groups
        Part numbers that may be moved, those of a group of one material and thickness.
    sheets
        With all parts that are laid; they are not changed.
    better
        Called with every layout that is better than those before.

    References
    ----------
    Schrimpf, Schneider, Stamm-Wilbrandt, Dueck (2000), Record breaking optimization results using
    the ruin and recreate principle, J. Comput. Phys. 159, doi:10.1006/jcph.1999.6413. Dueck
    (1993), New optimization heuristics: record-to-record travel, J. Comput. Phys. 104 (both from
    memory).
    """
    rng = np.random.default_rng(seed)
    now = list(sheets)
    best = _score(as_nesting(now), stock)
    sizes = np.array([len(group) for group in groups], dtype=np.float64)
    while not watch.over():
        group = groups[int(rng.choice(len(groups), p=sizes / sizes.sum()))]
        off = _taken_off(now, group, rng)
        tried = [sheet for sheet in (_without(one, off) for one in now) if sheet.placed]
        laid = {number for sheet in tried for number in sheet.placed}
        left = [number for number in group if number not in laid]
        noise = rng.uniform(1.0 - _ORDER_NOISE, 1.0 + _ORDER_NOISE, len(left))
        weights = noise * [placer.parts[number].area_mm2 for number in left]
        order = [left[i] for i in np.argsort(-weights)]
        # Sheets are filled in another order now and then, so that parts change places.
        first = [tried[i] for i in rng.permutation(len(tried))] if rng.random() < 0.3 else tried
        turns = str(rng.choice(_TURNS))
        tried = lay_quickly(placer, stock, [order], first, watch=watch, turns=turns)
        if watch.stopped():
            return
        tried = [sheet for sheet in tried if sheet.placed]
        nesting = as_nesting(tried)
        score = _score(nesting, stock)
        if score < best:
            best = score
            better(nesting)
            now = tried
        elif score[:-1] <= best[:-1]:
            slack = _SLACK * watch.left() / watch.seconds
            if score[-1] <= best[-1] * (1.0 + slack):
                now = tried


def _score(nesting: Nesting, stock: Sequence[StockSheet]) -> tuple[float, ...]:
    """Return the layout's score, rid of what the order of adding up makes of it."""
    return tuple(round(one, 1) for one in layout_score(nesting, stock))


def _without(sheet: OpenSheet, off: set[int]) -> OpenSheet:
    held = off & sheet.placed.keys()
    if not held:
        return sheet
    other = sheet.copied()
    other.remove(held)
    return other


def _taken_off(
    sheets: Sequence[OpenSheet], group: Sequence[int], rng: np.random.Generator
) -> set[int]:
    """Return a part and some of those near it on its sheet, or some from all sheets."""
    own = set(group)
    middles = {
        number: np.array([index, *placed.polygon().centroid.coords[0]])
        for index, sheet in enumerate(sheets)
        for number, placed in sheet.placed.items()
        if number in own and not placed.pinned
    }
    if not middles:
        return set()
    numbers = list(middles)
    count = int(rng.integers(1, _MOST_OFF + 1))
    if rng.random() < _AT_THE_END:
        there = middles[numbers[int(rng.integers(len(numbers)))]][0]
        seed = max((n for n in numbers if middles[n][0] == there), key=lambda n: middles[n][1])
    else:
        seed = numbers[int(rng.integers(len(numbers)))]
    near = [n for n in numbers if middles[n][0] == middles[seed][0]]
    near.sort(key=lambda n: float(np.linalg.norm(middles[n] - middles[seed])))
    off = set(near[: 1 + count // 2])
    off |= {numbers[int(i)] for i in rng.integers(len(numbers), size=count - count // 2)}
    return off
