"""A search for ever shorter strips from one beginning: pieces strewn, moved apart, shaken."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from typing import NamedTuple

import numpy as np

from fitkit.geometry.arrays import Floats, Ints
from fitkit.sheets.joint_slide import pressed
from fitkit.sheets.separation import separate
from fitkit.sheets.strip_pieces import StripPieces

__all__ = ["StripLying", "StripSearch"]

# So loosely pieces are strewn at first; when they do not come apart, looser by so much.
_FIRST_DENSITY, _LOOSER = 0.6, 1.15
# How much shorter the strip is made at a time, first and least; by how much it is to end shorter.
_STEP, _LEAST_STEP, _LEAST_GAIN = 0.01, 0.005, 1e-4
# Pressing: steps shrink from first to last.
_PRESS, _LEAST_PRESS = 5e-4, 1e-5
# Less of an overlap than this share is no progress; places looked at for a move.
_PROGRESS, _SAMPLES = 0.98, 50
# Stuck layouts to start from again: mostly the best of those met.
_POOL_SPREAD = 0.25
# Pieces swapped to shake a layout: those that make up this share of the area, largest first.
_LARGE_SHARE = 0.75


class _Effort(NamedTuple):
    """Rounds and tries without progress until pieces are stuck."""

    patience: int
    strikes: int


_EXPLORING, _PRESSING = _Effort(200, 3), _Effort(100, 5)


class StripLying(NamedTuple):
    """How pieces lie: the strip's length, (N,) int their turns, (N, 2) float their places."""

    length: float
    turn: Ints
    place: Floats


class StripSearch:
    """What has come of one beginning.

    Attributes
    ----------
    best
        The shortest strip found, endless before the first.
    """

    def __init__(
        self, pieces: StripPieces, kind: Ints, area: Floats, width: float, rng: np.random.Generator
    ) -> None:
        self.pieces, self.kind, self.area, self.width = pieces, kind, area, width
        self.rng = rng
        order = np.argsort(-area, kind="stable")
        count = int(np.searchsorted(np.cumsum(area[order]), _LARGE_SHARE * area.sum()))
        self._large = order[: count + 1]
        boxes = pieces.boxes
        self._least_length = 1.001 * float((boxes[:, 2] - boxes[:, 0]).max())
        self._step = _STEP
        self._stuck: list[tuple[float, StripLying]] = []
        length = max(self._least_length, float(area.sum()) / width / _FIRST_DENSITY)
        self._trial = self._strewn(length)
        self.best = StripLying(math.inf, self._trial.turn, self._trial.place)

    @property
    def can_be_shorter(self) -> bool:
        """Tell whether the best is longer than the longest piece."""
        return self.best.length > self._least_length

    def go_on_from(self, best: StripLying) -> None:
        """Go on from a shorter strip that another search has found."""
        self.best, self._stuck = best, []
        self._trial = self._shorter(self._step)

    def go_on(self, goes_on: Callable[[float], bool]) -> Iterator[StripLying]:
        """Yield ever shorter strips, as long as one of the length tried is wanted.

        The strip is made shorter by a step; pieces that stay stuck are shaken and tried again.
        """
        while self.can_be_shorter and goes_on(self._trial.length):
            loose = self._trial.length
            if math.isfinite(self.best.length):
                loose = max(loose, (1.0 - _LEAST_GAIN) * self.best.length)
            overlap, length = self._apart(loose, _EXPLORING, goes_on)
            _, turn, place = self._trial
            if overlap == 0.0:
                length = pressed(self.pieces, length, self.width, turn, place)
                self.go_on_from(StripLying(length, turn, place))
                yield self.best
            elif not goes_on(length):
                return
            elif math.isinf(self.best.length):
                self._trial = self._strewn(_LOOSER * length)
            elif self._step > _LEAST_STEP:
                self._step = max(_LEAST_STEP, 0.5 * self._step)
                self._trial = self._shorter(self._step)
            else:
                self._stuck.append((overlap, self._trial))
                self._stuck.sort(key=lambda one: one[0])
                far = min(abs(self.rng.normal(0.0, _POOL_SPREAD)), 0.999)
                self._trial = self._shaken(self._stuck[int(far * len(self._stuck))][1])

    def press(
        self, goes_on: Callable[[float], bool], gone: Callable[[], float]
    ) -> Iterator[StripLying]:
        """Yield ever shorter strips by ever smaller steps, from none to all of its time gone."""
        while self.can_be_shorter and goes_on(self.best.length):
            self._trial = self._shorter(_PRESS + gone() * (_LEAST_PRESS - _PRESS))
            length, turn, place = self._trial
            overlap, _ = self._apart(length, _PRESSING, goes_on)
            if overlap == 0.0:
                self.best = StripLying(length, turn, place)
                yield self.best

    def _apart(
        self, loose: float, effort: _Effort, goes_on: Callable[[float], bool]
    ) -> tuple[float, float]:
        """Move the trial's pieces apart until they are or are stuck; return overlap and length."""
        length, turn, place = self._trial
        box = self.pieces.boxes[turn]
        np.clip(place, -box[:, :2], np.array([length, self.width]) - box[:, 2:], out=place)
        growth = np.ones_like(self.pieces.share)
        overlap, on, strikes = math.inf, length, 0
        while strikes < effort.strikes and overlap > 0.0 and goes_on(length):
            before = overlap
            overlap, on = separate(
                self.pieces, length, loose, self.width, turn, place, growth,
                effort.patience, _SAMPLES, self.rng,
            )  # fmt: skip
            strikes = strikes + 1 if overlap >= _PROGRESS * before else 0
        return overlap, on

    def _strewn(self, length: float) -> StripLying:
        turn = self.pieces.first_turn + self.rng.integers(0, self.pieces.turns)
        box = self.pieces.boxes[turn]
        low, high = -box[:, :2], np.array([length, self.width]) - box[:, 2:]
        return StripLying(length, turn, self.rng.uniform(low, np.maximum(low, high)))

    def _middles(self, turn: Ints) -> Floats:
        box = self.pieces.boxes[turn]
        middles: Floats = 0.5 * (box[:, :2] + box[:, 2:])
        return middles

    def _shorter(self, step: float) -> StripLying:
        """Take a slice out of the best strip, anywhere along it; return what is left."""
        turn, place = self.best.turn.copy(), self.best.place.copy()
        length = max(self._least_length, (1.0 - step) * self.best.length)
        cut = self.rng.uniform(0.0, self.best.length)
        place[place[:, 0] + self._middles(turn)[:, 0] > cut, 0] -= self.best.length - length
        return StripLying(length, turn, place)

    def _shaken(self, lying: StripLying) -> StripLying:
        """Swap two large pieces of different kinds."""
        turn, place = lying.turn.copy(), lying.place.copy()
        one = int(self.rng.choice(self._large))
        unlike = self._large[self.kind[self._large] != self.kind[one]]
        if len(unlike) == 0:
            unlike = np.flatnonzero(np.arange(len(turn)) != one)
        if len(unlike) > 0:
            other = int(self.rng.choice(unlike))
            middles = self._middles(turn)
            place[[one, other]] = (place + middles)[[other, one]] - middles[[one, other]]
        return StripLying(lying.length, turn, place)
