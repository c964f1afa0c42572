"""Time left from the pace so far: silent at first, steady, and told in words."""

from __future__ import annotations

from itertools import pairwise

import pytest

from fitkit.workflow.time_left import TimeLeft


class Clock:
    def __init__(self) -> None:
        self.now = 100.0

    def __call__(self) -> float:
        return self.now


def test_even_work_is_foretold_to_the_second() -> None:
    clock = Clock()
    left = TimeLeft(clock)
    for second in range(5, 60):
        clock.now = 100.0 + second
        assert left.seconds(second / 60.0) == pytest.approx(60.0 - second)


def test_nothing_is_told_of_work_that_has_hardly_begun() -> None:
    clock = Clock()
    left = TimeLeft(clock)
    clock.now += 3.0
    assert left.words(0.5) == ""
    clock.now += 60.0
    assert left.words(0.01) == ""


def test_a_slower_stage_moves_the_number_by_and_by() -> None:
    """After half in 30 s the rest goes three times as slowly: told 30, in the end 90."""
    clock = Clock()
    left = TimeLeft(clock)
    clock.now += 30.0
    told = [left.seconds(0.5)]
    for second in range(1, 90):
        clock.now += 1.0
        told.append(left.seconds(0.5 + second / 180.0))
    steps = [after - before for before, after in pairwise(told)]
    assert told[0] == pytest.approx(30.0)
    assert max(map(abs, steps)) < 3.0
    assert told[-1] < 8.0


@pytest.mark.parametrize(
    ("spent", "done", "words"),
    [
        (30.0, 0.25, "about 90 s left"),
        (60.0, 0.25, "about 3 min left"),
        (60.0, 0.95, "a few seconds left"),
        (60.0, 0.75, "about 20 s left"),
        (60.0, 1.0, "a few seconds left"),
    ],
)
def test_words(spent: float, done: float, words: str) -> None:
    clock = Clock()
    left = TimeLeft(clock)
    clock.now += spent
    assert left.words(done) == words
