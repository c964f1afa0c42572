"""Squeezing a strip of pieces that may lie in few turns, as with a grain: by depth tables."""

from __future__ import annotations

import math
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from functools import cache
from queue import SimpleQueue
from typing import Literal, TypeAlias

import numpy as np
import shapely

from fitkit.geometry.arrays import Floats
from fitkit.sheets.depth_tables import depth_tables
from fitkit.sheets.strip_pieces import StripPieces
from fitkit.sheets.strip_search import StripLying, StripSearch

__all__ = ["FewTurnsStrip", "compile_loops"]

# The share of the time for choosing what to begin from, and how long each is given at least before
# the better half goes on; beginnings of a worker at most.
_HEATS_SHARE, _HEAT_SECONDS, _MOST_BEGINNINGS = 0.2, 3.0, 16
# For pressing the best together.
_PRESSING_SHARE = 0.2

# What workers tell: that there is a shorter strip, that they have ended, or why they could not.
_Told: TypeAlias = SimpleQueue["Literal['shorter', 'ended'] | Exception"]


class FewTurnsStrip:
    """A strip being squeezed: pieces of given turns, none closer than the gap.

    Parameters
    ----------
    outlines, turns_rad
        (N, 2) float each, counter-clockwise, and the turns each may take.
    width
        Of the strip, along y. The gap is kept from its edges too.

    Raises
    ------
    ValueError
        When a piece is wider than the strip in all its turns.
    """

    def __init__(
        self,
        outlines: Sequence[Floats],
        turns_rad: Sequence[Sequence[float]],
        *,
        width: float,
        gap: float,
        seed: int,
    ) -> None:
        self.rng = np.random.default_rng(seed)
        self.gap, self.width = gap, width - 2.0 * gap
        kinds: dict[tuple[bytes, tuple[float, ...]], int] = {}
        kind = np.array(
            [
                kinds.setdefault((outline.tobytes(), tuple(turns)), len(kinds))
                for outline, turns in zip(outlines, turns_rad, strict=True)
            ]
        )
        first_of_kind = [int(np.flatnonzero(kind == k)[0]) for k in range(len(kinds))]
        own = [np.asarray(outlines[i], dtype=np.float64) for i in first_of_kind]
        own_turns = [
            [turn for turn in turns_rad[i] if self._is_within(outlines[i], turn)]
            for i in first_of_kind
        ]
        if not all(own_turns):
            raise ValueError("A piece is wider than the strip.")
        tables = depth_tables(own, own_turns, gap)
        boxes = [
            _box(outline, turn) for outline, ts in zip(own, own_turns, strict=True) for turn in ts
        ]
        counts = np.array([len(ts) for ts in own_turns])
        starts = np.concatenate([[0], np.cumsum(counts)[:-1]])
        self.kind = kind
        self.turn_rad = np.array([turn for ts in own_turns for turn in ts])
        grown = shapely.buffer([shapely.Polygon(outline) for outline in own], 0.5 * gap)
        self.area = shapely.area(grown)[kind]
        self.pieces = StripPieces(
            *tables,
            starts[kind],
            counts[kind],
            np.array(boxes),
            np.array([min(b[2] - b[0], b[3] - b[1]) for b in boxes])[starts[kind]],
            _share(self.area),
        )
        self.best = StripLying(math.inf, starts[kind], np.zeros((len(kind), 2)))
        self._lock = threading.Lock()
        self._over = False

    def _is_within(self, outline: Floats, turn_rad: float) -> bool:
        _, low, _, high = _box(outline, turn_rad)
        return high - low <= self.width

    def placed(self) -> tuple[float, list[tuple[float, float, float]]]:
        """Return the strip's length and x, y and turn in radians of every piece."""
        length, turns, shifts = self.best
        places = [
            (float(x) + self.gap, float(y) + self.gap, float(self.turn_rad[turn]))
            for turn, (x, y) in zip(turns, shifts, strict=True)
        ]
        return length + 2.0 * self.gap, places

    def squeezed(self, seconds: float, workers: int = 1) -> Iterator[None]:
        """Yield whenever :meth:`placed` is shorter, until the time is over.

        Workers look in threads of their own, each from several beginnings, and at last go on from
        the best that any of them has found.
        """
        started = time.monotonic()
        ended = started + seconds
        told: _Told = SimpleQueue()
        self._over = False

        def work(rng: np.random.Generator) -> None:
            try:
                self._search(started, ended, rng, told)
            except Exception as fault:
                told.put(fault)
            else:
                told.put("ended")

        threads = [
            threading.Thread(target=work, args=(rng,), daemon=True)
            for rng in self.rng.spawn(workers)
        ]
        for thread in threads:
            thread.start()
        try:
            working = workers
            while working:
                word = told.get()
                if word == "shorter":
                    yield
                elif word == "ended":
                    working -= 1
                else:
                    raise word
        finally:
            self._over = True
            for thread in threads:
                thread.join()

    def _search(self, started: float, ended: float, rng: np.random.Generator, told: _Told) -> None:
        """Begin several times, go on with the better half, and again, at last from the best of all.

        What a search begins from decides more than what it does later, and soon shows.
        """
        heats = _heats(ended - started)
        searches = [
            StripSearch(self.pieces, self.kind, self.area, self.width, its)
            for its in rng.spawn(max([1, *heats]))
        ]
        seconds = _HEATS_SHARE * (ended - started) / max(1, sum(heats))
        over = started
        for count in heats:
            for search in searches[:count]:
                over += seconds
                self._tell(search.go_on(self._alone(over)), told)
            searches.sort(key=lambda one: one.best.length)
        best = searches[0]
        press = ended - _PRESSING_SHARE * (ended - started)

        def explores() -> bool:
            return self._lasts(press if math.isfinite(self.best.length) else ended)

        while best.can_be_shorter and explores():
            self._catch_up(best)
            self._tell(best.go_on(lambda length: length < self.best.length and explores()), told)
        while best.can_be_shorter and self._lasts(ended):
            self._catch_up(best)
            self._tell(
                best.press(
                    lambda length: length <= self.best.length and self._lasts(ended),
                    lambda: (time.monotonic() - press) / (ended - press),
                ),
                told,
            )

    def _alone(self, until: float) -> Callable[[float], bool]:
        """Return what wants any length till then, whatever others have found."""
        return lambda _: self._lasts(until)

    def _catch_up(self, search: StripSearch) -> None:
        if self.best.length < search.best.length:
            search.go_on_from(self.best)

    def _lasts(self, until: float) -> bool:
        return not self._over and time.monotonic() < until

    def _tell(self, found: Iterator[StripLying], told: _Told) -> None:
        """Keep what is shorter than any worker has found, and tell of it."""
        for lying in found:
            with self._lock:
                shorter = lying.length < self.best.length
                if shorter:
                    self.best = lying
            if shorter:
                told.put("shorter")


def _heats(seconds: float) -> list[int]:
    """Return how many searches of a worker go on in each heat: half as many as in the last."""
    # All heats together are some twice the first.
    count = min(_MOST_BEGINNINGS, int(_HEATS_SHARE * seconds / (2.0 * _HEAT_SECONDS)))
    heats = []
    while count > 1:
        heats.append(count)
        count = (count + 1) // 2
    return heats


@cache
def compile_loops() -> None:
    """Compile the loops, if this machine has not yet, and keep them for other processes.

    A process that squeezes may be ended before it has compiled them, time and again.
    """
    square = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]])
    strip = FewTurnsStrip([square] * 2, [(0.0,)] * 2, width=3.0, gap=0.0, seed=1)
    next(strip.squeezed(60.0), None)


def _box(outline: Floats, turn_rad: float) -> tuple[float, float, float, float]:
    c, s = math.cos(turn_rad), math.sin(turn_rad)
    turned = outline @ np.array([[c, s], [-s, c]])
    return (*turned.min(axis=0).tolist(), *turned.max(axis=0).tolist())


def _share(area: Floats) -> Floats:
    """Return how much each pair's depth counts: large pieces are to find their place first."""
    share = np.sqrt(np.sqrt(area[:, None] * area[None, :]))
    scaled: Floats = share / share.mean()
    return scaled
