from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from fitkit.body.body_levels import BodyLevels
from fitkit.body.side import Side
from fitkit.body.taut_round import TautRound
from fitkit.body.trunk_levels import find_trunk_levels
from fitkit.geometry.surface_path import SurfacePath


def round_at(x: float, height: float, radius: float) -> TautRound:
    turn = 2 * np.pi * np.arange(90) / 90
    ring = np.column_stack([x + radius * np.cos(turn), radius * np.sin(turn), 0 * turn + height])
    return TautRound(
        SurfacePath(ring, np.zeros(90, dtype=np.int64), closed=True),
        ring,
        np.array([x, 0.0, height]),
        np.pi * radius**2,
    )


def levels_of(radius: Callable[[float], float], armpit: float | None) -> BodyLevels:
    """Levels every 5 mm from 1500 down to 800; arms, if any, hang from the armpit."""
    heights = np.arange(1497.5, 800, -5.0)
    arm = [z for z in heights if armpit is not None and min(1000, armpit - 60) < z <= armpit]
    return BodyLevels(
        tuple(round_at(0, z, radius(z)) for z in heights),
        {
            side: tuple(round_at(sign * 250, z, 45) for z in arm)
            for side, sign in ((Side.LEFT, 1), (Side.RIGHT, -1))
        },
    )


def test_chest_waist_and_hip_are_found_between_the_levels() -> None:
    """Girth is a cosine of height, its extremes at 1201, 1051 and 901 by construction."""
    found = find_trunk_levels(
        levels_of(lambda z: 150 + 15 * np.cos(2 * np.pi * (z - 1201) / 300), armpit=1250)
    )
    assert found.chest_mm == pytest.approx(1201, abs=0.5)
    assert found.waist_mm == pytest.approx(1051, abs=0.5)
    assert found.hip_mm == pytest.approx(901, abs=0.5)
    assert found.chest_confidence > 0.5


def test_a_trunk_that_widens_up_to_the_armpits_is_measured_just_below_them() -> None:
    found = find_trunk_levels(levels_of(lambda z: 100 + 0.0008 * (z - 1050) ** 2, armpit=1250))
    assert found.chest_mm == pytest.approx(1247.5 - 15, abs=0.01)
    assert found.waist_mm == pytest.approx(1050, abs=0.5)


def test_a_belly_is_no_chest_and_leaves_no_waist() -> None:
    found = find_trunk_levels(
        levels_of(lambda z: 130 + 60 * np.exp(-(((z - 1000) / 150) ** 2)), armpit=1250)
    )
    assert found.waist_mm is None
    assert found.hip_mm is None
    assert found.chest_mm is not None
    assert found.chest_mm >= 1130


def test_roughness_of_one_level_does_not_move_the_waist() -> None:
    rough = np.random.default_rng(4).normal(0, 0.3, 400)

    def radius(z: float) -> float:
        return 150 + 15 * np.cos(2 * np.pi * (z - 1201) / 300) + rough[int(z / 5) % 400]

    found = find_trunk_levels(levels_of(radius, armpit=1250))
    assert found.waist_mm == pytest.approx(1051, abs=6)
    assert found.hip_mm == pytest.approx(901, abs=6)


def test_too_short_a_trunk_has_no_levels() -> None:
    found = find_trunk_levels(levels_of(lambda _z: 150.0, armpit=825))
    assert (found.chest_mm, found.waist_mm, found.hip_mm) == (None, None, None)


def ribs_mm(z: float) -> float:
    return 150 + 10 * np.cos(2 * np.pi * (z - 1350) / 600)


def busty_levels(armpit: float, belly_mm: float = 0.0) -> BodyLevels:
    """Levels of a trunk whose front stands out 70 mm beside the middle, most near 1210."""
    levels = levels_of(ribs_mm, armpit)

    def bulged(one: TautRound) -> TautRound:
        z = one.centre_mm[2]
        out = 18 * np.exp(-0.5 * ((z - 1210) / 40) ** 2)
        out += belly_mm * np.exp(-0.5 * ((z - 1000) / 60) ** 2)
        points = one.path.points_mm.copy()
        beside = np.exp(-0.5 * ((np.abs(points[:, 0]) - 70) / 40) ** 2)
        points[:, 1] -= np.where(points[:, 1] < 0, out * beside, 0.0)
        path = SurfacePath(points, one.path.faces, closed=True)
        return TautRound(path, points, one.centre_mm, one.area_mm2)

    return BodyLevels(tuple(bulged(one) for one in levels.trunk), levels.arms)


def front_mm(z: float) -> float:
    x = np.linspace(20.0, 120.0, 500)
    bulge = 18 * np.exp(-0.5 * ((z - 1210) / 40) ** 2) * np.exp(-0.5 * ((x - 70) / 40) ** 2)
    return float((np.sqrt(ribs_mm(z) ** 2 - x**2) + bulge).max())


@pytest.mark.parametrize("belly_mm", [0.0, 30.0])
def test_the_chest_is_taken_at_the_bust_points_though_the_armpits_be_filled(
    belly_mm: float,
) -> None:
    """Open armpits at 1300, or filled down to 1245: the level of the bust stays the same.

    The greatest girth below the armpit would move with them.
    """
    heights = np.arange(1180.0, 1260.0, 0.5)
    bust = heights[np.argmax([front_mm(z) for z in heights.tolist()])]
    assert bust > 1210.0
    for armpit in (1300.0, 1270.0, 1245.0):
        found = find_trunk_levels(busty_levels(armpit, belly_mm))
        assert found.chest_mm == pytest.approx(bust, abs=4.0), armpit
        assert found.chest_confidence == 0.9


def test_a_bust_above_filled_armpits_is_taped_below_them_and_called_unsure() -> None:
    found = find_trunk_levels(busty_levels(1225.0))
    assert found.chest_mm == pytest.approx(1222.5 - 15, abs=0.01)
    assert found.chest_confidence < 0.7
