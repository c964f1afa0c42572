from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from fitkit.capture.camera import Camera, Lens
from fitkit.capture.marker_sheet import marker_sheet
from fitkit.capture.saddle_points import SeenSaddles, measure_saddles
from fitkit.geometry.rigid import RigidTransform
from tests.capture.sheet_scene import looking_at, photo_of

LENS = Lens(360, 360, 600.0, 179.5, 179.5, k1=0.1, k2=-0.05)
SHEET = marker_sheet("A4", 1)
TURNED = RigidTransform(Rotation.from_euler("z", 25, degrees=True).as_matrix(), np.zeros(3))


def camera_at(elevation_deg: float, distance_mm: float = 1000.0) -> Camera:
    elevation = np.radians(elevation_deg)
    centre = distance_mm * np.array([0.0, -np.cos(elevation), np.sin(elevation)])
    return Camera("a.jpg", LENS, looking_at(centre, np.array([3.0, 4.0, 0.0]), 0.4))


def measured(camera: Camera, *, cover: int | None = None, **how: float) -> tuple:
    """Return the saddles found and (K, 2) px how far each is from where the lens puts it."""
    photo = photo_of(camera, [(SHEET, TURNED)], **{"noise_grey": 0.0, "fine": 6, **how})  # type: ignore[arg-type]
    pose = camera.camera_from_world @ TURNED
    corners = LENS.project(pose.apply(SHEET.tag_corners_mm()))
    true = LENS.project(pose.apply(SHEET.saddles_mm()))
    grey = photo.grey.copy()
    if cover is not None:
        column, row = np.round(true[cover]).astype(int)
        grey[row : row + 12, column - 3 : column + 12] = 120
    found = measure_saddles(grey, SHEET, corners)
    return found, found.pixels_px - true[found.which]


@pytest.mark.parametrize("gamma", [1.0, 1.8, 2.8])
@pytest.mark.parametrize("ink_mm", [0.0, 0.3])
def test_neither_tone_curve_nor_ink_moves_a_saddle(gamma: float, ink_mm: float) -> None:
    """An edge moves by up to 0.2 px under the same treatment."""
    found, off = measured(camera_at(55.0), tone_gamma=gamma, ink_spread_mm=ink_mm)
    assert list(found.which) == [0, 1, 2, 3]
    assert np.abs(off).max() < 0.05


@pytest.mark.parametrize("elevation", [20.0, 40.0, 85.0])
def test_saddles_hold_at_every_slant(elevation: float) -> None:
    found, off = measured(camera_at(elevation), noise_grey=2.0)
    assert len(found.which) == 4
    assert np.abs(off).max() < 0.12


def test_saddles_hold_far_away() -> None:
    """Bow-ties of 14 px, seen at 40 degrees."""
    found, off = measured(camera_at(40.0, 2000.0), noise_grey=2.0)
    assert len(found.which) == 4
    assert np.sqrt((off**2).mean()) < 0.08


def test_light_that_falls_off_does_not_move_a_saddle() -> None:
    """One percent a pixel, a quarter over a bow-tie, moves a plain symmetry fit 0.08 px."""
    camera = camera_at(55.0)
    photo = photo_of(camera, [(SHEET, TURNED)], noise_grey=0.0, fine=6, tone_gamma=1.0)
    pose = camera.camera_from_world @ TURNED
    corners = LENS.project(pose.apply(SHEET.tag_corners_mm()))
    true = LENS.project(pose.apply(SHEET.saddles_mm()))
    columns, rows = np.meshgrid(np.arange(360), np.arange(360))
    for index in range(4):
        light = 0.8 + 0.008 * (columns - true[index, 0]) + 0.005 * (rows - true[index, 1])
        grey = np.clip(photo.grey * np.clip(light, 0.1, 1.5), 0, 255).astype(np.uint8)
        even = measure_saddles(photo.grey, SHEET, corners).pixels_px[index]
        found = measure_saddles(grey, SHEET, corners)
        assert index in found.which
        shift = found.pixels_px[list(found.which).index(index)] - even
        assert np.abs(shift).max() < 0.02


def test_a_covered_saddle_is_missing_and_the_others_stay() -> None:
    found, off = measured(camera_at(55.0), cover=2)
    assert list(found.which) == [0, 1, 3]
    assert np.abs(off).max() < 0.05


def test_washed_out_saddles_are_missing() -> None:
    found, _ = measured(camera_at(55.0), exposure=40.0)
    assert isinstance(found, SeenSaddles)
    assert len(found.which) == 0


def test_saddles_outside_the_photo_are_missing() -> None:
    camera = camera_at(55.0)
    aside = Camera(
        "a.jpg",
        LENS,
        looking_at(camera.centre_mm(), np.array([250.0, 330.0, 0.0]), 0.4),
    )
    found, off = measured(aside)
    assert 0 < len(found.which) < 4
    assert np.abs(off).max() < 0.05
