from __future__ import annotations

import numpy as np
import pytest

from fitkit.body.body import Landmark
from fitkit.errors import DesignError
from fitkit.patch.landmark_map import LandmarkMap

RANDOM = np.random.default_rng(7)
NAMES = [
    f"{way} {level}" for level in ("hip", "waist", "chest") for way in ("front", "left", "back")
]
PLACES = np.array(
    [
        [150 * np.sin(t), -110 * np.cos(t), z + 4 * k]
        for k, z in enumerate((850.0, 1050.0, 1250.0))
        for t in (0.0, 0.5 * np.pi, np.pi)
    ]
)


def marks(places: np.ndarray, confidence: float = 1.0) -> dict[str, Landmark]:
    return {name: Landmark(name, at, confidence) for name, at in zip(NAMES, places, strict=True)}


@pytest.mark.parametrize("scale", [0.8, 1.0, 1.12])
def test_a_body_only_larger_is_mapped_exactly(scale: float) -> None:
    carried = LandmarkMap(marks(PLACES), marks(scale * PLACES))
    assert carried.scale == pytest.approx(scale)
    points = RANDOM.normal(size=(20, 3)) * 100 + [0, 0, 1000]
    assert carried.point_mm(points) == pytest.approx(scale * points, abs=1e-6)
    for height in (700.0, 900.0, 1100.0, 1400.0):
        assert carried.height_mm(height) == pytest.approx(scale * height)


def test_every_landmark_goes_to_its_own() -> None:
    moved = PLACES + RANDOM.normal(size=PLACES.shape) * 8
    carried = LandmarkMap(marks(PLACES), marks(moved))
    assert carried.point_mm(PLACES) == pytest.approx(moved, abs=1e-6)


def test_heights_go_in_proportion_between_levels() -> None:
    """Hip stays, chest goes 40 up: half way between waist and chest goes up by half of that."""
    moved = PLACES.copy()
    moved[6:, 2] += 40
    carried = LandmarkMap(marks(PLACES), marks(moved))
    waist, chest = PLACES[3:6, 2].mean(), PLACES[6:, 2].mean()
    assert carried.height_mm(waist - 30) == pytest.approx(waist - 30)
    assert carried.height_mm(0.5 * (waist + chest)) == pytest.approx(0.5 * (waist + chest) + 20)


def test_a_level_that_would_turn_the_order_round_is_left_out() -> None:
    moved = PLACES.copy()
    moved[3:6, 2] = 1300.0
    there = marks(moved) | {n: Landmark(n, moved[NAMES.index(n)], 0.2) for n in NAMES[3:6]}
    here = marks(PLACES) | {n: Landmark(n, PLACES[NAMES.index(n)], 0.2) for n in NAMES[3:6]}
    carried = LandmarkMap(here, there)
    heights = [carried.height_mm(z) for z in np.linspace(800, 1400, 20)]
    assert (np.diff(heights) > 0).all()


def test_bodies_that_share_too_little_are_refused() -> None:
    with pytest.raises(DesignError, match="share 3 landmarks"):
        LandmarkMap(dict(list(marks(PLACES).items())[:3]), marks(PLACES))
    flat = PLACES * [1, 1, 0] + [0, 0, 1000]
    with pytest.raises(DesignError, match="fewer than two common levels"):
        LandmarkMap(marks(flat), marks(flat))
