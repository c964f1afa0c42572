"""Corrections move a blank's edges and keep it closed."""

from __future__ import annotations

import numpy as np
import pytest

from fitkit.geometry.arrays import Floats
from fitkit.template.correction import Correction, EdgeMove, edge_frames, moved_edges

NAMES = ["waist", "side", "neckline", "centre"]


def square(side: float = 100.0) -> list[Floats]:
    corners = np.array([[0.0, 0.0], [side, 0.0], [side, side], [0.0, side]])
    return [np.linspace(corners[i], corners[(i + 1) % 4], 21) for i in range(4)]


def test_edge_frames_point_outwards_on_a_counter_clockwise_outline() -> None:
    share, ahead, outward = edge_frames(square()[0])
    assert share[[0, -1]] == pytest.approx([0.0, 1.0])
    assert ahead == pytest.approx(np.tile([1.0, 0.0], (21, 1)))
    assert outward == pytest.approx(np.tile([0.0, -1.0], (21, 1)))


def test_a_straight_move_shifts_one_edge_and_stretches_its_neighbours() -> None:
    lower = np.array([[0.0, 6.0, 0.0], [1.0, 6.0, 0.0]])
    beside = np.array([[0.0, 0.0, -6.0], [1.0, 0.0, 0.0]])
    before = np.array([[0.0, 0.0, 0.0], [1.0, 0.0, 6.0]])
    moved = moved_edges(
        NAMES,
        square(),
        Correction(
            "breast plate",
            (
                EdgeMove("waist", 0, lower),
                EdgeMove("side", 0, beside),
                EdgeMove("centre", 0, before),
            ),
        ),
    )
    assert moved[0][:, 1] == pytest.approx(np.full(21, -6.0))
    assert moved[1][0] == pytest.approx([100.0, -6.0])
    assert moved[1][-1] == pytest.approx([100.0, 100.0])
    assert moved[2] == pytest.approx(square()[2])
    ends = [edge[-1] for edge in moved]
    starts = [moved[(i + 1) % 4][0] for i in range(4)]
    assert np.array(ends) == pytest.approx(np.array(starts))


def test_moves_follow_the_second_edge_of_a_line_that_has_two() -> None:
    names = ["seam", "top", "seam", "bottom"]
    out = np.array([[0.0, 2.0, 0.0], [1.0, 2.0, 0.0]])
    moved = moved_edges(names, square(), Correction("sleeve", (EdgeMove("seam", 1, out),)))
    assert moved[0][5] == pytest.approx(square()[0][5])
    assert moved[2][5] == pytest.approx(square()[2][5] + [0.0, 2.0])


def test_a_line_the_blank_no_longer_has_is_passed_over() -> None:
    out = np.array([[0.0, 2.0, 0.0], [1.0, 2.0, 0.0]])
    moved = moved_edges(NAMES, square(), Correction("x", (EdgeMove("gone", 0, out),)))
    for now, before in zip(moved, square(), strict=True):
        assert now == pytest.approx(before)
