"""Depths count when several maps tell them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fitkit.capture.depth_agreement import agreeing_depths
from fitkit.capture.depth_map import DepthMap
from fitkit.capture.free_space import seen_through
from fitkit.geometry.rigid import RigidTransform

MATRIX = np.array([[100.0, 0.0, 50.0], [0.0, 100.0, 40.0], [0.0, 0.0, 1.0]])
WALL_MM = 1000.0
MIDDLE = np.array([0.0, 0.0, WALL_MM])


def wall_maps(shifts_mm: tuple[float, ...] = (0.0, 60.0, -60.0, 120.0)) -> tuple[DepthMap, ...]:
    """Return views side by side of the plane z = 1000 mm."""
    return tuple(
        DepthMap(
            np.full((80, 101), WALL_MM, np.float32),
            MATRIX,
            RigidTransform(np.eye(3), np.array([-shift, 0.0, 0.0])),
        )
        for shift in shifts_mm
    )


def test_points_of_a_map_lie_on_the_wall() -> None:
    points = wall_maps()[1].points_mm()
    np.testing.assert_allclose(points[:, 2], WALL_MM)
    assert np.isclose(points[:, 0].min(), 60.0 - 50 / 100 * WALL_MM)


def test_agreeing_maps_keep_the_wall() -> None:
    kept = agreeing_depths(wall_maps(), MIDDLE, within_mm=8.0, maps_n=3)
    assert (kept[0].depth_mm[:, 30:70] > 0).all()
    np.testing.assert_allclose(kept[0].depth_mm[kept[0].depth_mm > 0], WALL_MM, rtol=1e-6)


def test_a_planted_wrong_depth_is_dropped_and_only_that() -> None:
    maps = list(wall_maps())
    wrong = maps[0].depth_mm.copy()
    wrong[40, 50] = WALL_MM - 30.0
    maps[0] = replace(maps[0], depth_mm=wrong)
    kept = agreeing_depths(maps, MIDDLE, within_mm=8.0, maps_n=3)[0].depth_mm
    assert kept[40, 50] == 0.0
    assert (kept[39, 45:56] > 0).all()


def test_small_differences_are_averaged() -> None:
    maps = list(wall_maps((0.0, 0.0, 0.0)))
    maps[0] = replace(maps[0], depth_mm=maps[0].depth_mm + np.float32(3.0))
    kept = agreeing_depths(maps, MIDDLE, within_mm=8.0, maps_n=3)[0].depth_mm
    np.testing.assert_allclose(kept, WALL_MM + 1.0, atol=1e-3)


def test_two_maps_are_not_enough_for_three() -> None:
    kept = agreeing_depths(wall_maps((0.0, 60.0)), MIDDLE, within_mm=8.0, maps_n=3)
    assert all((one.depth_mm == 0).all() for one in kept)


def test_views_see_through_what_is_before_the_wall_and_not_what_is_behind() -> None:
    points = np.array([[0.0, 0.0, 700.0], [0.0, 0.0, 990.0], [0.0, 0.0, 1300.0], [9e3, 0.0, 700.0]])
    np.testing.assert_array_equal(seen_through(wall_maps(), points), [4, 0, 0, 0])
