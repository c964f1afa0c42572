"""Squeezing a strip of pieces that may lie in few turns, as with a grain: by depth tables."""

from __future__ import annotations

import math
import threading
import time
from collections.abc import Iterator, Sequence
from functools import cache
from itertools import pairwise
from queue import SimpleQueue
from typing import Literal, TypeAlias

import numpy as np
import shapely

from fitkit.geometry.arrays import Floats
from fitkit.sheets.depth_tables import depth_tables
from fitkit.sheets.joint_slide import slid_apart
from fitkit.sheets.strip_pieces import StripPieces
from fitkit.sheets.strip_search import StripLying, StripSearch

__all__ = ["FewTurnsStrip", "compile_loops"]

# Shares of the time: for annealing, and at last for pressing the best together; what is between is
# for moves.
_ANNEALING_SHARE, _PRESSING_SHARE = 0.65, 0.15
# Annealing takes turns, so many and none shorter than this: the first from a beginning of its own,
# the others from the best of all. Where a turn is long a short one before it soon gives something.
_TURNS, _LEAST_SECONDS = 5, 3.0

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

        Workers look in threads of their own, each from beginnings of its own, and at last go on
        from the best that any of them has found.
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
        """Anneal, ever more slowly, then move and at last press together the best of all."""
        annealed = started + _ANNEALING_SHARE * (ended - started)
        press = ended - _PRESSING_SHARE * (ended - started)
        search = self._begun(ended, rng, told)
        for begun, over, again in _annealings(started, annealed):
            if again:
                self._catch_up(search)
            elif begun > started:
                search = self._begun(ended, rng, told)
            self._anneal(search, begun, over, again, told)
            if not search.can_be_shorter:
                return
        while search.can_be_shorter and self._lasts(press):
            self._catch_up(search)
            self._tell(
                search.go_on(lambda length: length < self.best.length and self._lasts(press)), told
            )
        while search.can_be_shorter and self._lasts(ended):
            self._catch_up(search)
            self._tell(
                search.press(
                    lambda length: length <= self.best.length and self._lasts(ended),
                    lambda: (time.monotonic() - press) / (ended - press),
                ),
                told,
            )

    def _begun(self, ended: float, rng: np.random.Generator, told: _Told) -> StripSearch:
        """Return a search from a beginning of its own, once pieces lie apart."""
        search = StripSearch(self.pieces, self.kind, self.area, self.width, rng)
        self._tell(
            search.go_on(lambda _: math.isinf(search.best.length) and self._lasts(ended)), told
        )
        return search

    def _anneal(
        self, search: StripSearch, begun: float, over: float, again: bool, told: _Told
    ) -> None:
        def gone() -> float:
            return (time.monotonic() - begun) / (over - begun)

        self._tell(search.anneal(lambda _: self._lasts(over), gone, again=again), told)

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


def _annealings(started: float, ended: float) -> Iterator[tuple[float, float, bool]]:
    """Yield when each annealing begins, is over, and whether it goes on from the best of all."""
    turns = min(_TURNS, math.floor((ended - started) / _LEAST_SECONDS))
    if turns == _TURNS:
        yield started, started + _LEAST_SECONDS, False
        started += _LEAST_SECONDS
    ends = np.linspace(started, ended, max(1, turns) + 1).tolist()
    for turn, (begun, over) in enumerate(pairwise(ends)):
        yield begun, over, turn > 0


@cache
def compile_loops() -> None:
    """Compile the loops, if this machine has not yet, and keep them for other processes.

    A process that squeezes may be ended before it has compiled them, time and again.
    """
    square = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]])
    strip = FewTurnsStrip([square] * 2, [(0.0,)] * 2, width=1.5, gap=0.0, seed=1)
    search = StripSearch(strip.pieces, strip.kind, strip.area, strip.width, strip.rng)
    next(search.go_on(lambda _: True))
    once = iter([True, False])
    list(search.anneal(lambda _: next(once), lambda: 0.0))
    length, turn, place = search.best
    slid_apart(strip.pieces, length, strip.width, turn, place)


def _box(outline: Floats, turn_rad: float) -> tuple[float, float, float, float]:
    c, s = math.cos(turn_rad), math.sin(turn_rad)
    turned = outline @ np.array([[c, s], [-s, c]])
    return (*turned.min(axis=0).tolist(), *turned.max(axis=0).tolist())


def _share(area: Floats) -> Floats:
    """Return how much each pair's depth counts: large pieces are to find their place first."""
    share = np.sqrt(np.sqrt(area[:, None] * area[None, :]))
    scaled: Floats = share / share.mean()
    return scaled
