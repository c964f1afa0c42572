from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from fitkit.capture.marker_sheet import marker_sheet
from fitkit.capture.photo_network import LensPriors
from fitkit.capture.pose_start import PlacedPoses, SeenPoints, largest_connected, place_all
from fitkit.geometry.rigid import RigidTransform
from tests.capture.sheet_scene import (
    PHONE,
    ring_of_cameras,
    seen_points,
    sheets_on_floor,
    similarity,
)


def priors(*, focal_part: float = 1.0) -> LensPriors:
    return LensPriors(
        np.array([[PHONE.focal_px * focal_part, 377.5, 503.5, 0, 0, 0, 0]]),
        np.array([[0.2 * PHONE.focal_px, 15, 15, 0.15, 0.2, 0.003, 0.003]]),
    )


def centres(placed: PlacedPoses) -> np.ndarray:
    return np.array(
        [
            placed.camera_from_start[k].inverse().translation_mm
            for k in sorted(placed.camera_from_start)
        ]
    )


@pytest.mark.parametrize("focal_part", [0.85, 1.0, 1.15])
def test_all_are_placed_even_with_a_wrong_focal_length(focal_part: float) -> None:
    cameras, sheets = ring_of_cameras(), sheets_on_floor()
    seen = seen_points(cameras, sheets, noise_px=0.2)
    placed = place_all(seen, np.zeros(len(cameras), dtype=np.int64), priors(focal_part=focal_part))
    assert len(placed.camera_from_start) == len(cameras)
    assert len(placed.start_from_sheet) == len(sheets)
    truth = np.array([camera.centre_mm() for camera in cameras])
    assert similarity(centres(placed), truth, with_scale=False)[1].max() < 25.0


def test_sheets_on_walls_and_tables_are_placed() -> None:
    """One stands upright, one lies half a metre up, one leans."""
    sheets = sheets_on_floor(5)
    for number, angles, place in [
        (6, (90.0, 0.0, 180.0), (0.0, 700.0, 500.0)),
        (7, (0.0, 0.0, 40.0), (500.0, 500.0, 500.0)),
        (8, (35.0, 0.0, 250.0), (-500.0, 500.0, 150.0)),
    ]:
        turn = Rotation.from_euler("xyz", angles, degrees=True).as_matrix()
        sheets.append((marker_sheet("A4", number), RigidTransform(turn, np.array(place))))
    cameras = ring_of_cameras()
    seen = seen_points(cameras, sheets, noise_px=0.1)
    assert {view.sheet for view in seen} == set(range(8))
    placed = place_all(seen, np.zeros(len(cameras), dtype=np.int64), priors())
    world_from_start = sheets[0][1] @ placed.start_from_sheet[0].inverse()
    for index, (sheet, pose) in enumerate(sheets):
        found = world_from_start @ placed.start_from_sheet[index]
        off = found.apply(sheet.saddles_mm()) - pose.apply(sheet.saddles_mm())
        assert np.abs(off).max() < 15.0, sheet.number


def test_two_looks_of_one_square_are_told_apart() -> None:
    """Far, nearly frontal sheets allow two poses each; the other sheets decide."""
    cameras = ring_of_cameras(rings=((2600.0, 1000.0),))
    sheets = sheets_on_floor()
    seen = seen_points(cameras, sheets, noise_px=0.5)
    placed = place_all(seen, np.zeros(len(cameras), dtype=np.int64), priors())
    up = np.array([placed.start_from_sheet[k].rotation[:, 2] for k in range(len(sheets))])
    mean = up.mean(axis=0) / np.linalg.norm(up.mean(axis=0))
    assert np.degrees(np.arccos(np.clip(up @ mean, -1, 1))).max() < 3.0


def test_the_largest_group_wins() -> None:
    views = [(0, 1), (1, 1), (1, 2), (2, 2), (3, 7), (4, 7), (5, 8)]
    assert largest_connected(views) == ({0, 1, 2}, {1, 2})
    assert largest_connected([]) == (set(), set())


def test_a_view_of_nothing_possible_is_not_placed() -> None:
    cameras, sheets = ring_of_cameras(), sheets_on_floor()
    seen = seen_points(cameras, sheets)
    mirrored = [
        SeenPoints(v.camera, v.sheet, v.points_mm, v.pixels_px * [-1.0, 1.0] + [755.0, 0.0])
        if v.camera == 4
        else v
        for v in seen
    ]
    placed = place_all(mirrored, np.zeros(len(cameras), dtype=np.int64), priors())
    assert set(range(len(cameras))) - set(placed.camera_from_start) <= {4}
    truth = np.array([c.centre_mm() for k, c in enumerate(cameras) if k != 4])
    found = np.array(
        [
            placed.camera_from_start[k].inverse().translation_mm
            for k in range(len(cameras))
            if k != 4
        ]
    )
    assert similarity(found, truth, with_scale=False)[1].max() < 25.0
