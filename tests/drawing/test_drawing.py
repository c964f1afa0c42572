"""Drawings are moved without being changed, and never rounded."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from fitkit.drawing.drawing import Drawing, Fill, Hole, Layer, Stroke, Words, merge_drawings
from fitkit.errors import ShapeError

PART = Drawing(
    "part",
    strokes=(Stroke(np.array([[0.0, 0.0], [10.0, 0.0], [10.0, 5.0]]), Layer.CUT, closed=True),),
    holes=(Hole(np.array([12.0, 1.0]), 4.0),),
    words=(Words("7", np.array([100.0, 100.0]), 5.0),),
)


def test_bounds_take_in_strokes_and_whole_holes_but_not_words() -> None:
    np.testing.assert_array_equal(PART.bounds_mm(), [[0.0, -1.0], [14.0, 5.0]])


def test_a_quarter_turn_takes_words_along_without_mirroring() -> None:
    turned = PART.moved(np.array([1.0, 2.0]), turn_rad=np.pi / 2)
    np.testing.assert_allclose(turned.strokes[0].points_mm[1], [1.0, 12.0], atol=1e-12)
    np.testing.assert_allclose(turned.words[0].at_mm, [-99.0, 102.0], atol=1e-12)
    assert turned.words[0].angle_rad == pytest.approx(np.pi / 2)
    assert turned.words[0].text == "7"


def test_moving_there_and_back_changes_nothing() -> None:
    there = PART.moved(np.array([123.456, -7.0]))
    back = there.moved(np.array([-123.456, 7.0]))
    np.testing.assert_allclose(back.strokes[0].points_mm, PART.strokes[0].points_mm, atol=1e-12)


def test_merging_keeps_everything_in_order() -> None:
    other = Drawing("other", fills=(Fill(np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]])),))
    merged = merge_drawings("both", [PART, other])
    assert (merged.strokes, merged.fills, merged.holes, merged.words) == (
        PART.strokes,
        other.fills,
        PART.holes,
        PART.words,
    )


@pytest.mark.parametrize(
    "make",
    [
        lambda: Stroke(np.zeros((1, 2)), Layer.CUT),
        lambda: Fill(np.zeros((2, 2))),
        lambda: Hole(np.zeros(2), 0.0),
        lambda: Words("x", np.zeros(2), -1.0),
        lambda: Drawing("empty").bounds_mm(),
    ],
)
def test_what_cannot_be_drawn_is_refused(make: Callable[[], object]) -> None:
    with pytest.raises(ShapeError):
        make()
