"""Squeezing a strip of pieces that may lie in few turns, as with a grain: by depth tables."""

from __future__ import annotations

import math
import threading
import time
from collections.abc import Iterator, Sequence
from functools import cache
from queue import SimpleQueue
from typing import Literal, NamedTuple, TypeAlias

import numpy as np
import shapely

from fitkit.geometry.arrays import Floats, Ints
from fitkit.sheets.depth_tables import depth_tables
from fitkit.sheets.separation import StripPieces, separate

__all__ = ["FewTurnsStrip", "compile_loops"]

# So loosely pieces are strewn at first; when they do not come apart, looser by so much.
_FIRST_DENSITY, _LOOSER = 0.6, 1.15
# Exploring: how much shorter the strip is made at a time, first and least.
_STEP, _LEAST_STEP = 0.01, 0.002
# Squeezing: steps shrink with the time left.
_SQUEEZE, _LEAST_SQUEEZE = 5e-4, 1e-5
_PROGRESS = 0.98
# Stuck layouts to start from again: mostly the best of those met.
_POOL_SPREAD = 0.25
# Pieces swapped to shake a layout: those that make up this share of the area, largest first.
_LARGE_SHARE = 0.75

# What workers tell: that there is a shorter strip, that they have ended, or why they could not.
_Told: TypeAlias = SimpleQueue["Literal['shorter', 'ended'] | Exception"]


class _Effort(NamedTuple):
    """Rounds and tries without progress until pieces are stuck; places looked at for a move."""

    patience: int
    strikes: int
    samples: int


_EXPLORING, _PRESSING = _Effort(200, 3, 50), _Effort(100, 5, 50)


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
            tables.table,
            tables.way,
            tables.frame,
            tables.values,
            tables.rims,
            tables.near,
            tables.near_first,
            tables.gap,
            starts[kind],
            counts[kind],
            np.array(boxes),
            np.array([min(b[2] - b[0], b[3] - b[1]) for b in boxes])[starts[kind]],
            _share(self.area),
        )
        self.length = math.inf
        self.turn: Ints = starts[kind]
        self.place: Floats = np.zeros((len(kind), 2))
        self._lock = threading.Lock()
        self._over = False

    def _is_within(self, outline: Floats, turn_rad: float) -> bool:
        _, low, _, high = _box(outline, turn_rad)
        return high - low <= self.width

    def placed(self) -> tuple[float, list[tuple[float, float, float]]]:
        """Return the strip's length and x, y and turn in radians of every piece."""
        with self._lock:
            length, turns, shifts = self.length, self.turn, self.place
        places = [
            (float(x) + self.gap, float(y) + self.gap, float(self.turn_rad[turn]))
            for turn, (x, y) in zip(turns, shifts, strict=True)
        ]
        return length + 2.0 * self.gap, places

    def squeezed(self, seconds: float, squeezing: float, workers: int = 1) -> Iterator[None]:
        """Yield whenever :meth:`placed` is shorter, until the time is over.

        ``squeezing`` is the share of the time for pressing the best together. Workers look in
        threads of their own and go on from the best that any of them has found.
        """
        started = time.monotonic()
        ended = started + seconds
        turn_over = started + (1.0 - squeezing) * seconds
        told: _Told = SimpleQueue()
        self._over = False

        def work(rng: np.random.Generator) -> None:
            try:
                self._explore(turn_over, rng, told)
                self._press(ended, rng, told)
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

    def _explore(self, until: float, rng: np.random.Generator, told: _Told) -> None:
        """Make the strip shorter and shorter; shake what is stuck."""
        length = self._least_length(float(self.area.sum()) / self.width / _FIRST_DENSITY)
        turn, place = self._strewn(length, rng)
        step = _STEP
        stuck: list[tuple[float, Ints, Floats]] = []
        while self._goes_on(until):
            overlap = self._apart(length, turn, place, _EXPLORING, until, rng)
            if overlap == 0.0:
                self._offer(length, turn, place, told)
            if length >= self.length:
                stuck = []
                length, turn, place = self._shorter(step, rng)
            elif math.isinf(self.length):
                length *= _LOOSER
                turn, place = self._strewn(length, rng)
            elif step > _LEAST_STEP:
                step = max(_LEAST_STEP, 0.5 * step)
                length, turn, place = self._shorter(step, rng)
            else:
                stuck.append((overlap, turn, place))
                stuck.sort(key=lambda one: one[0])
                at = int(min(abs(rng.normal(0.0, _POOL_SPREAD)), 0.999) * len(stuck))
                turn, place = stuck[at][1].copy(), stuck[at][2].copy()
                self._shake(turn, place, rng)

    def _press(self, until: float, rng: np.random.Generator, told: _Told) -> None:
        """Press the best layout together in ever smaller steps."""
        started = time.monotonic()
        while self._goes_on(until) and math.isfinite(self.length):
            gone = (time.monotonic() - started) / max(until - started, 1e-9)
            step = _SQUEEZE + gone * (_LEAST_SQUEEZE - _SQUEEZE)
            length, turn, place = self._shorter(step, rng)
            if not self._apart(length, turn, place, _PRESSING, until, rng):
                self._offer(length, turn, place, told)

    def _goes_on(self, until: float) -> bool:
        can_be_shorter = self.length > self._least_length(0.0)
        return can_be_shorter and not self._over and time.monotonic() < until

    def _offer(self, length: float, turn: Ints, place: Floats, told: _Told) -> None:
        """Keep a layout if no worker has found a shorter one meanwhile."""
        with self._lock:
            if length >= self.length:
                return
            self.length, self.turn, self.place = length, turn.copy(), place.copy()
        told.put("shorter")

    def _apart(
        self,
        length: float,
        turn: Ints,
        place: Floats,
        effort: _Effort,
        until: float,
        rng: np.random.Generator,
    ) -> float:
        """Move pieces apart until they are, are stuck, or another worker's lie on less length.

        Returns
        -------
        overlap
            What is left of it.
        """
        growth = np.ones_like(self.pieces.share)
        low, high = self._room(length, turn)
        np.clip(place, low, high, out=place)
        least, idle = math.inf, 0
        while (
            idle < effort.strikes and least > 0.0 and length < self.length and self._goes_on(until)
        ):
            before = least
            least = separate(
                self.pieces, length, self.width, turn, place, growth,
                effort.patience, effort.samples, rng,
            )  # fmt: skip
            idle = idle + 1 if least >= _PROGRESS * before else 0
        return least

    def _least_length(self, wanted: float) -> float:
        boxes = self.pieces.boxes
        return max(wanted, 1.001 * float((boxes[:, 2] - boxes[:, 0]).max()))

    def _room(self, length: float, turn: Ints) -> tuple[Floats, Floats]:
        """Return the least and most places, (N, 2) float, at which pieces lie inside."""
        box = self.pieces.boxes[turn]
        return -box[:, :2], np.array([length, self.width]) - box[:, 2:]

    def _middles(self, turn: Ints) -> Floats:
        box = self.pieces.boxes[turn]
        middles: Floats = 0.5 * (box[:, :2] + box[:, 2:])
        return middles

    def _strewn(self, length: float, rng: np.random.Generator) -> tuple[Ints, Floats]:
        turn = self.pieces.first_turn + rng.integers(0, self.pieces.turns)
        low, high = self._room(length, turn)
        return turn, rng.uniform(low, np.maximum(low, high))

    def _shorter(self, step: float, rng: np.random.Generator) -> tuple[float, Ints, Floats]:
        """Take a slice out of the best strip, anywhere along it; return what is left."""
        with self._lock:
            best, turn, place = self.length, self.turn.copy(), self.place.copy()
        length = self._least_length((1.0 - step) * best)
        cut = rng.uniform(0.0, best)
        place[place[:, 0] + self._middles(turn)[:, 0] > cut, 0] -= best - length
        return length, turn, place

    def _shake(self, turn: Ints, place: Floats, rng: np.random.Generator) -> None:
        """Swap two large pieces of different kinds."""
        order = np.argsort(-self.area, kind="stable")
        count = int(np.searchsorted(np.cumsum(self.area[order]), _LARGE_SHARE * self.area.sum()))
        large = order[: count + 1]
        one = int(rng.choice(large))
        unlike = large[self.kind[large] != self.kind[one]]
        if len(unlike) == 0:
            unlike = np.flatnonzero(np.arange(len(turn)) != one)
        if len(unlike) == 0:
            return
        other = int(rng.choice(unlike))
        middles = self._middles(turn)
        place[[one, other]] = (place + middles)[[other, one]] - middles[[one, other]]


@cache
def compile_loops() -> None:
    """Compile the loops, if this machine has not yet, and keep them for other processes.

    A process that squeezes may be ended before it has compiled them, time and again.
    """
    square = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]])
    strip = FewTurnsStrip([square] * 2, [(0.0,)] * 2, width=3.0, gap=0.0, seed=1)
    next(strip.squeezed(60.0, 0.2), None)


def _box(outline: Floats, turn_rad: float) -> tuple[float, float, float, float]:
    c, s = math.cos(turn_rad), math.sin(turn_rad)
    turned = outline @ np.array([[c, s], [-s, c]])
    return (*turned.min(axis=0).tolist(), *turned.max(axis=0).tolist())


def _share(area: Floats) -> Floats:
    """Return how much each pair's depth counts: large pieces are to find their place first."""
    share = np.sqrt(np.sqrt(area[:, None] * area[None, :]))
    scaled: Floats = share / share.mean()
    return scaled
