"""Edges that are all but straight or round, against outlines whose runs are known."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from fitkit.trace.even_outline import even_outline


def wobbly(sigma_mm: float) -> np.ndarray:
    """Return a stadium of two 120 mm sides and two half rounds of 40 mm, traced with a wobble."""
    stadium = shapely.LineString([(-60.0, 0.0), (60.0, 0.0)]).buffer(40.0, quad_segs=90)
    ring = shapely.orient_polygons(stadium).exterior
    count = round(ring.length / 0.5)
    at = np.arange(count) * ring.length / count
    points = shapely.get_coordinates(shapely.line_interpolate_point(ring, at))
    noise = np.random.default_rng(3).normal(0.0, sigma_mm, (count // 8 + 1, 2))
    return np.asarray(points + np.repeat(noise, 8, axis=0)[:count])


def test_sides_come_out_straight_and_rounds_with_their_radius() -> None:
    """Sides 120 mm, half rounds of radius 40: pi 40 = 125.7 mm each (closed form)."""
    outline, runs = even_outline(wobbly(0.08))
    straight = sum(run.length_mm for run in runs if not run.radius_mm)
    round_ = [run for run in runs if 0 < run.radius_mm < 100]
    assert straight > 200.0
    assert sum(run.length_mm for run in round_) > 200.0
    # A run reaches on into the side for as long as 0.4 mm allow, which makes it a little flatter.
    assert np.average(
        [run.radius_mm for run in round_], weights=[run.length_mm for run in round_]
    ) == pytest.approx(40.0, abs=4.0)
    true = shapely.LineString([(-60.0, 0.0), (60.0, 0.0)]).buffer(40.0, quad_segs=90).exterior
    assert shapely.hausdorff_distance(shapely.LinearRing(outline), true, 0.1) < 0.8


def test_words_say_length_and_radius() -> None:
    _, runs = even_outline(wobbly(0.0))
    said = [run.in_words() for run in runs]
    assert any("straight" in one for one in said)
    assert any("arc of radius 40 mm" in one for one in said)
