"""The process that squeezes a strip: spyrrow cannot be stopped from outside, a process can.

Pieces that lie in few turns are squeezed by :mod:`fitkit.sheets.few_turns_strip`, others by
spyrrow.

Run as ``python -m fitkit.sheets.strip_process``. One line of JSON comes in, one goes out for each
shorter strip found. It ends by itself when its standard input is closed, as when whoever started
it is gone.
"""

from __future__ import annotations

import json
import math
import os
import sys
import threading
import time
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np

from fitkit.geometry.arrays import Floats

__all__ = ["main", "suits_few_turns"]

# Tables are worth their making up to this many, and up to this share of the time; how long they
# take goes with the corners of the two outlines.
_MOST_TABLES, _TABLES_SHARE = 2500, 0.1
_SECONDS_PER_CORNERS = 2e-5

_SECONDS_BETWEEN_LOOKS = 0.1


def main() -> None:
    """Read the order from standard input, squeeze, write what comes out."""
    order = json.loads(sys.stdin.readline())
    started = time.monotonic()
    threading.Thread(target=_end_with_the_reader, daemon=True).start()
    outlines = [np.array(item["outline"]) for item in order["items"]]
    turns = [None if (t := item["turns"]) is None else tuple(t) for item in order["items"]]
    few = suits_few_turns(outlines, turns, order["seconds"])
    lines = _by_tables(order, outlines, turns, started) if few else _by_spyrrow(order)
    for line in lines:
        sys.stdout.write(json.dumps(line) + "\n")
        sys.stdout.flush()


def _end_with_the_reader() -> None:
    sys.stdin.read()
    os._exit(0)


def suits_few_turns(
    outlines: Sequence[Floats], turns_rad: Sequence[tuple[float, ...] | None], seconds: float
) -> bool:
    """Tell whether pieces lie in so few turns that their depth tables are soon made."""
    kinds = {(outline.tobytes(), turns) for outline, turns in zip(outlines, turns_rad, strict=True)}
    if any(turns is None for _, turns in kinds):
        return False
    # Two numbers a corner, eight bytes each.
    corners = np.array([len(shape) // 16 for shape, turns in kinds for _ in turns or ()])
    tables = len(corners) * (len(corners) + 1) // 2
    needed = 0.5 * _SECONDS_PER_CORNERS * float(corners.sum()) ** 2
    return tables <= _MOST_TABLES and needed <= _TABLES_SHARE * seconds


def _by_tables(
    order: dict[str, Any],
    outlines: Sequence[Floats],
    turns: Sequence[tuple[float, ...] | None],
    started: float,
) -> Iterator[dict[str, Any]]:
    """Yield ever shorter strips: ``{"length", "placed": [[part, x, y, turn_rad], ...]}``."""
    from fitkit.sheets.few_turns_strip import FewTurnsStrip

    strip = FewTurnsStrip(
        outlines,
        [one or () for one in turns],
        width=order["width"],
        gap=order["gap"],
        seed=order["seed"],
    )
    seconds = order["seconds"] - (time.monotonic() - started)
    for _ in strip.squeezed(seconds, order["workers"]):
        length, places = strip.placed()
        yield {"length": length, "placed": [[i, *place] for i, place in enumerate(places)]}


def _by_spyrrow(order: dict[str, Any]) -> Iterator[dict[str, Any]]:
    """Yield as :func:`_by_tables`."""
    import spyrrow

    items = [
        spyrrow.Item(
            str(index),
            [tuple(point) for point in item["outline"]],
            1,
            None if item["turns"] is None else [math.degrees(turn) for turn in item["turns"]],
        )
        for index, item in enumerate(order["items"])
    ]
    instance = spyrrow.StripPackingInstance("strip", order["width"], items)
    # Whole seconds only; what is over is cut off by the one who waits.
    seconds = max(2, math.ceil(order["seconds"]))
    squeezing = max(1, round(order["squeezing"] * seconds))
    config = spyrrow.StripPackingConfig(
        early_termination=False,
        total_computation_time=None,
        exploration_time=max(1, seconds - squeezing),
        compression_time=squeezing,
        num_workers=order["workers"],
        min_items_separation=order["gap"] or None,
        seed=order["seed"],
    )
    queue = spyrrow.ProgressQueue()
    ended = threading.Event()
    faults: list[BaseException] = []

    def solve() -> None:
        try:
            instance.solve(config, queue)
        except BaseException as fault:  # the library's own kind is no Exception
            faults.append(fault)
        ended.set()

    threading.Thread(target=solve, daemon=True).start()
    kinds = spyrrow.ReportType
    feasible = (kinds.ExplFeas, kinds.CmprFeas, kinds.Final)
    best = math.inf
    over = False
    while not over:
        over = ended.wait(_SECONDS_BETWEEN_LOOKS)
        for kind, strip in queue.drain():
            if kind in feasible and strip.width < best:
                best = strip.width
                placed = [
                    [int(one.id), *one.translation, math.radians(one.rotation)]
                    for one in strip.placed_items
                ]
                yield {"length": best, "placed": placed}
    if faults:
        raise faults[0]


if __name__ == "__main__":
    main()
