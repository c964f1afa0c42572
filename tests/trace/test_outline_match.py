"""Outlines laid over one another: the lie is found, moved edges do not drag it along."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fitkit.geometry.arrays import Floats
from fitkit.trace.outline_match import best_lie, match_outlines


def plate(width: float = 180.0, height: float = 240.0, notch: float = 40.0) -> Floats:
    """Return a plate with no symmetry: a slanted top, a hollow and a round corner."""
    arc = np.linspace(-np.pi / 2, 0.0, 24)
    corner = np.array([width - 30.0, 30.0]) + 30.0 * np.column_stack([np.cos(arc), np.sin(arc)])
    rest = [
        [width, 0.6 * height],
        [width - notch, 0.75 * height],
        [0.75 * width, height],
        [0.0, 0.9 * height],
        [0.0, 0.0],
    ]
    return np.concatenate([corner, np.array(rest)])


def turned(points: Floats, angle: float, shift: tuple[float, float]) -> Floats:
    c, s = np.cos(angle), np.sin(angle)
    return points @ np.array([[c, -s], [s, c]]).T + np.array(shift)


@settings(max_examples=10, deadline=None)
@given(st.floats(0.0, 2 * np.pi), st.floats(-400.0, 400.0), st.floats(-400.0, 400.0))
def test_any_lie_of_the_same_outline_is_found(angle: float, x: float, y: float) -> None:
    match = best_lie(turned(plate(), angle, (x, y)), plate())
    assert match.unlike < 1e-3
    back = match.to_part(turned(plate(), angle, (x, y)))
    assert np.abs(back - plate()).max() < 0.05


def test_an_edge_moved_by_eight_millimetres_leaves_the_others_in_place() -> None:
    changed = plate()
    changed[-3:-1, 1] += 8.0
    match = best_lie(turned(changed, 0.7, (30.0, -90.0)), plate())
    back = match.to_part(turned(changed, 0.7, (30.0, -90.0)))
    still = np.r_[0:26, len(changed) - 1]
    assert np.abs(back - changed)[still].max() < 0.6


def test_the_right_part_is_told_from_the_others_and_from_its_mirror_image() -> None:
    parts = [plate(120.0, 300.0), plate(), plate(190.0, 235.0, 70.0)]
    first, second, *_ = match_outlines(turned(plate(), 2.0, (5.0, 5.0)), parts)
    assert first.index == 1
    assert not first.turned_over
    assert first.unlike < 0.001 < 0.03 < second.unlike
    over = turned(plate() * np.array([-1.0, 1.0]), 1.0, (0.0, 0.0))[::-1]
    turned_over, *_ = match_outlines(over, parts)
    assert turned_over.index == 1
    assert turned_over.turned_over


def test_a_part_of_quite_another_size_is_not_offered() -> None:
    assert match_outlines(plate(), [plate() * 1.5]) == ()


@pytest.mark.parametrize("scale", [1.0, 1.02])
def test_unlike_is_the_area_that_only_one_covers(scale: float) -> None:
    match = best_lie(plate() * scale, plate())
    assert match.unlike == pytest.approx(scale**2 - 1.0, abs=0.012)
