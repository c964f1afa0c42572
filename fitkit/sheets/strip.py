"""A strip of given width, parts squeezed to the shortest length, in processes of their own."""

from __future__ import annotations

import contextlib
import json
import os
import subprocess
import sys
import threading
from collections.abc import Sequence
from dataclasses import dataclass
from queue import Empty, SimpleQueue
from typing import Any

from fitkit.geometry.arrays import Floats

__all__ = ["StripLayout", "StripRun"]


@dataclass(frozen=True, slots=True)
class StripLayout:
    """Where parts lie on a strip that starts at x = 0 and is ``length_mm`` long.

    ``places`` holds ``(x_mm, y_mm, turn_rad)`` a part, turned about its own origin first.
    """

    length_mm: float
    places: tuple[tuple[float, float, float], ...]


class StripRun:
    """Squeezing under way; ``best``, the shortest strip so far, is at hand at any time.

    ``ended`` tells that it is over, ``fault`` why it failed.

    Use it as a context: the process is gone when the block ends, however it ends.

    Parameters
    ----------
    outlines_mm
        (N, 2) float mm each, what may not overlap.
    turns_rad
        Per part the turns it may take; None for any.
    width_mm
        Of the strip, along y.
    gap_mm
        Least distance between two parts, and half of it to the strip's edges.
    seconds
        After which the process gives up by itself.
    workers
        How many look at a time.
    squeezing
        Share of the time for pressing the best one together, the rest for looking around; for
        parts that turn freely.

    References
    ----------
    J. Gardeyn, G. Vanden Berghe, T. Wauters, *An open-source heuristic to reboot 2D nesting
    research*, arXiv:2509.13329, 2025; here through the library spyrrow.
    """

    def __init__(
        self,
        outlines_mm: Sequence[Floats],
        turns_rad: Sequence[tuple[float, ...] | None],
        *,
        width_mm: float,
        gap_mm: float,
        seconds: float,
        seed: int,
        workers: int = 1,
        squeezing: float = 0.2,
    ) -> None:
        order = {
            "width": width_mm,
            "gap": gap_mm,
            "seconds": seconds,
            "seed": seed,
            "workers": workers,
            "squeezing": squeezing,
            "items": [
                {"outline": outline.tolist(), "turns": turns}
                for outline, turns in zip(outlines_mm, turns_rad, strict=True)
            ],
        }
        self._count = len(outlines_mm)
        self._lines: SimpleQueue[bytes | None] = SimpleQueue()
        self.best: StripLayout | None = None
        self.ended = False
        self.fault = ""
        self._process = subprocess.Popen(
            [sys.executable, "-m", "fitkit.sheets.strip_process"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            # The child must find fitkit where this process found it.
            env={**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, sys.path))},
        )
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()
        try:
            stdin: Any = self._process.stdin
            stdin.write(json.dumps(order).encode() + b"\n")
            stdin.flush()
        except OSError:
            self.ended = True  # it died at once; there is no layout and the caller goes on

    def __enter__(self) -> StripRun:
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()

    def stop(self) -> None:
        """End the process now."""
        self._process.kill()
        self._process.wait()
        self._reader.join()
        for stream in (self._process.stdin, self._process.stdout, self._process.stderr):
            if stream is not None:
                # The pipe broke with the process.
                with contextlib.suppress(OSError):
                    stream.close()
        self.ended = True

    def look(self, seconds: float) -> bool:
        """Wait up to so long for a shorter strip; tell whether one came."""
        newest: bytes | None = None
        try:
            line = self._lines.get(timeout=seconds)
            while line is not None:
                newest = line
                line = self._lines.get_nowait()
            self._ended()
        except Empty:
            pass
        if newest is None:
            return False
        values = json.loads(newest)
        places: list[tuple[float, float, float]] = [(0.0, 0.0, 0.0)] * self._count
        for index, x, y, turn in values["placed"]:
            places[index] = (x, y, turn)
        self.best = StripLayout(float(values["length"]), tuple(places))
        return True

    def _ended(self) -> None:
        self.ended = True
        if self._process.wait() != 0:
            stderr: Any = self._process.stderr
            told = stderr.read().decode(errors="replace").split("\n")
            self.fault = next((row for row in reversed(told) if row.strip()), "it ended early")

    def _read(self) -> None:
        stdout: Any = self._process.stdout
        for line in stdout:
            if line.endswith(b"\n"):
                self._lines.put(line)
        self._lines.put(None)
