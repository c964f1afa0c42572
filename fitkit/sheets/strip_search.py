"""A search for ever shorter strips from one beginning: pieces strewn, moved apart, shaken."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from typing import NamedTuple

import numpy as np

from fitkit.geometry.arrays import Floats, Ints
from fitkit.sheets.joint_slide import pressed, slid_apart, slid_down
from fitkit.sheets.near_pairs import no_pairs
from fitkit.sheets.part_hops import hop_about
from fitkit.sheets.separation import separate
from fitkit.sheets.strip_pieces import StripPieces

__all__ = ["StripLying", "StripSearch"]

# So loosely pieces are strewn at first; when they do not come apart, looser by so much.
_FIRST_DENSITY, _LOOSER = 0.6, 1.15
# How much shorter the strip is made at a time, first and least; by how much it is to end shorter.
_STEP, _LEAST_STEP, _LEAST_GAIN = 0.01, 0.005, 1e-4
# Annealing: by how much the strip in which pieces hop is shorter than the best; how hot it begins,
# at first and again, and ends, as shares of the side of a square as large as a middling piece; hops
# until the clock is looked at.
_LACKING, _HEAT, _HEAT_AGAIN, _LEAST_HEAT, _HOPS = 0.175, 0.008, 0.0035, 0.0027, 200
# Pieces go on from a new best when the strip for hops gets shorter by this share of that.
_ANEW = 0.2
# A layout that leaves so much less than the last one tried is let out to what it needs: by steps of
# this share of the length, then by so many rounds of moves without progress.
_LESS_LEFT, _LET_OUT, _LET_OUT_ROUNDS = 0.7, 5e-4, 100
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

    def anneal(
        self, goes_on: Callable[[float], bool], gone: Callable[[], float], *, again: bool = False
    ) -> Iterator[StripLying]:
        """Yield ever shorter strips by hops from the best; it cools as its time goes, none to all.

        Pieces hop in a strip that is too short for them. What overlaps little there is let out to
        the length that it needs, and what they hop in is then that much shorter. What has been
        annealed is less hot ``again``: large pieces mostly stay.
        """
        size = np.log(self.area)
        side = math.exp(0.5 * float(size.mean()))
        near = no_pairs(len(self.kind))
        length = value = least = tried = first = math.inf
        turn, place = self.best.turn, self.best.place
        kept_turn, kept_place = turn, place
        hot = _HEAT_AGAIN if again else _HEAT
        while self.can_be_shorter and goes_on(self.best.length):
            shorter = max(self._least_length, self.best.length - _LACKING * side)
            if value == 0.0 or shorter < length - _ANEW * _LACKING * side:
                length, turn, place = shorter, self.best.turn.copy(), self.best.place.copy()
                value = slid_down(self.pieces, length, self.width, turn, place, math.inf, near)
                least = tried = first = value
                kept_turn, kept_place = turn.copy(), place.copy()
            heat = side * hot * (_LEAST_HEAT / hot) ** min(1.0, gone())
            value, least = hop_about(
                self.pieces, self.kind, size, length, self.width, turn, place, value,
                kept_turn, kept_place, least, heat, _HOPS, self.rng,
            )  # fmt: skip
            if least < _LESS_LEFT * tried or value == 0.0:
                tried = least
                lying = StripLying(length, kept_turn.copy(), kept_place.copy())
                # What is lacking grows as the root of the squares that are left.
                found = self._let_out(lying, math.sqrt(least / max(first, 1e-300)))
                if found is not None:
                    self.go_on_from(found)
                    yield found

    def _let_out(self, lying: StripLying, lacking: float) -> StripLying | None:
        """Return how pieces lie on a length that sets them free, if it is shorter than the best.

        ``lacking``: what they likely need, as a share of what the best is longer.
        """
        length, turn, place = lying
        while length < self.best.length:
            slid = place.copy()
            if slid_apart(self.pieces, length, self.width, turn, slid):
                return StripLying(pressed(self.pieces, length, self.width, turn, slid), turn, slid)
            length *= 1.0 + _LET_OUT
        # A small piece deep in others is soon elsewhere, but does not slide out.
        loose = (1.0 - _LEAST_GAIN) * self.best.length
        likely = lying.length + lacking * (self.best.length - lying.length)
        overlap, on = separate(
            self.pieces, min(likely, loose), loose, self.width, turn, place,
            np.ones_like(self.pieces.share), _LET_OUT_ROUNDS, _SAMPLES, self.rng,
        )  # fmt: skip
        if overlap > 0.0:
            return None
        return StripLying(pressed(self.pieces, on, self.width, turn, place), turn, place)

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
