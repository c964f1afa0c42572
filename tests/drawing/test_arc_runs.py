"""Arcs in place of many short steps: closed forms first, then random lines."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from fitkit.drawing.arc_runs import ArcRuns, arc_runs
from fitkit.geometry.arrays import Floats


def drawn(runs: ArcRuns, *, closed: bool, steps: int = 40) -> Floats:
    """Points along the runs, by the definition of the bulge: the tangent of a quarter sweep."""
    points = np.vstack([runs.points_mm, runs.points_mm[:1]]) if closed else runs.points_mm
    places = [points[0]]
    for a, b, bulge in zip(points[:-1], points[1:], runs.bulge, strict=False):
        half = 2.0 * np.arctan(bulge)
        for share in np.linspace(0.0, 1.0, steps + 1)[1:]:
            if abs(bulge) < 1e-12:
                places.append(a + share * (b - a))
                continue
            chord = b - a
            radius = np.linalg.norm(chord) / (2.0 * np.sin(half))
            centre = 0.5 * (a + b) + np.array([-chord[1], chord[0]]) / (2.0 * np.tan(half))
            start = np.arctan2(*(a - centre)[::-1])
            angle = start + share * 2.0 * half
            places.append(centre + abs(radius) * np.array([np.cos(angle), np.sin(angle)]))
    return np.array(places)


@pytest.mark.parametrize("way", [1, -1])
def test_a_circle_becomes_three_arcs_of_its_own_radius(way: int) -> None:
    """Sweeps add up to a full turn (closed form): each is four times the bulge's angle."""
    t = np.linspace(0.0, 2.0 * np.pi, 400, endpoint=False)[::way]
    runs = arc_runs(50.0 * np.column_stack([np.cos(t), np.sin(t)]), closed=True, within_mm=0.02)
    assert len(runs.points_mm) == 3
    assert np.sum(4.0 * np.arctan(runs.bulge)) == pytest.approx(way * 2.0 * np.pi, abs=0.01)
    assert np.linalg.norm(drawn(runs, closed=True), axis=1) == pytest.approx(50.0, abs=0.01)


def test_corners_stay_corners_and_straight_runs_lose_what_lies_between() -> None:
    side = np.linspace(0.0, 30.0, 31)[:-1]
    square = np.concatenate(
        [
            np.column_stack([side, 0 * side]),
            np.column_stack([0 * side + 30.0, side]),
            np.column_stack([30.0 - side, 0 * side + 30.0]),
            np.column_stack([0 * side, 30.0 - side]),
        ]
    )
    runs = arc_runs(square, closed=True, within_mm=0.02)
    assert runs.points_mm.tolist() == [[0, 0], [30, 0], [30, 30], [0, 30]]
    assert (runs.bulge == 0.0).all()


def test_a_line_that_runs_back_on_itself_keeps_its_turning_point() -> None:
    back = np.array([[0.0, 0.0], [10.0, 0.0], [4.0, 0.0]])
    assert arc_runs(back, closed=False, within_mm=0.02).points_mm.tolist() == back.tolist()


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.tuples(st.floats(-1.0, 1.0), st.floats(0.2, 3.0)), min_size=2, max_size=60),
    st.floats(0.0, 0.3),
)
def test_random_lines_stay_within_what_is_allowed(
    steps: list[tuple[float, float]], bend: float
) -> None:
    """Every vertex of the runs is one of the line's, and the two lie within 0.02 mm."""
    way = np.cumsum([bend * turn for turn, _ in steps])
    step = np.array([length for _, length in steps])
    line = np.cumsum(np.column_stack([step * np.cos(way), step * np.sin(way)]), axis=0)
    runs = arc_runs(line, closed=False, within_mm=0.02)
    known = {tuple(point) for point in line.tolist()}
    assert {tuple(point) for point in runs.points_mm.tolist()} <= known
    got = shapely.LineString(drawn(runs, closed=False))
    assert shapely.hausdorff_distance(got, shapely.LineString(line), 0.2) < 0.0205
