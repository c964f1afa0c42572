"""The process that squeezes a strip: spyrrow cannot be stopped from outside, a process can.

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
from typing import Any

__all__ = ["main"]

_SECONDS_BETWEEN_LOOKS = 0.1


def main() -> None:
    """Read the order from standard input, squeeze, write what comes out."""
    order = json.loads(sys.stdin.readline())
    threading.Thread(target=_end_with_the_reader, daemon=True).start()
    for line in _squeezed(order):
        sys.stdout.write(json.dumps(line) + "\n")
        sys.stdout.flush()


def _end_with_the_reader() -> None:
    sys.stdin.read()
    os._exit(0)


def _squeezed(order: dict[str, Any]) -> Any:
    """Yield ever shorter strips: ``{"length", "placed": [[part, x, y, turn_rad], ...]}``."""
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
