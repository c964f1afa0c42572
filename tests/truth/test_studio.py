from __future__ import annotations

import io

import cv2
import numpy as np
import pytest
from PIL import Image

from fitkit.capture.camera import Camera, Lens
from fitkit.capture.marker_sheet import marker_sheet
from fitkit.geometry.mesh import TriangleMesh
from tests.truth.camera_walk import PHONE_35MM, camera_at, camera_walk, phone_lens
from tests.truth.sheet_print import CELLS_PER_MM, printed_sheet
from tests.truth.small_scene import egg
from tests.truth.studio import (
    Part,
    PlacedSheet,
    Scene,
    photo_jpeg,
    ray_directions,
    render_photo,
    sheet_poses,
)
from tests.truth.texture import Material
from tests.truth.workshop import floor_sheets


def _floor() -> Part:
    corners = np.array([[-1500.0, -1500, 0], [1500, -1500, 0], [1500, 1500, 0], [-1500, 1500, 0]])
    return Part(TriangleMesh(corners, np.array([[0, 1, 2], [0, 2, 3]])), Material.BOARDS)


@pytest.fixture(scope="module")
def scene() -> Scene:
    sheet = PlacedSheet.on_floor(marker_sheet("A4", 3), x_mm=40.0, y_mm=-25.0, turn_rad=0.6)
    parts = (_floor(), Part(egg(), Material.COVERING))
    return Scene(parts, (sheet,), light_samples=4, room_samples=16)


@pytest.fixture(scope="module")
def camera() -> Camera:
    lens = phone_lens(504, 672)
    return camera_at(
        "one.jpg",
        lens,
        centre_mm=np.array([-420.0, -560.0, 260.0]),
        target_mm=np.array([20.0, -60.0, 40.0]),
        roll_rad=0.05,
    )


def test_saddles_land_where_the_camera_projects_them() -> None:
    """0.15 px: what an independent detector (OpenCV's cornerSubPix) finds in the picture."""
    sheet = PlacedSheet.on_floor(marker_sheet("A4", 2), x_mm=30.0, y_mm=20.0, turn_rad=2.1)
    scene = Scene((_floor(),), (sheet,), light_samples=4, room_samples=16)
    lens = phone_lens(504, 672)
    worst = []
    for azimuth in (0.3, 1.9, 4.0):
        centre = np.array([420.0 * np.cos(azimuth), 420.0 * np.sin(azimuth), 430.0])
        camera = camera_at("a.jpg", lens, centre_mm=centre, target_mm=np.array([30.0, 20.0, 0.0]))
        grey = cv2.cvtColor(render_photo(scene, camera, seed=1), cv2.COLOR_RGB2GRAY)
        expected = camera.project(sheet.world_from_sheet.apply(sheet.sheet.saddles_mm()))
        start = np.round(expected).astype(np.float32).reshape(-1, 1, 2)
        criteria = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_COUNT, 60, 1e-4)
        found = cv2.cornerSubPix(grey, start, (4, 4), (-1, -1), criteria).reshape(-1, 2)
        worst.append(np.linalg.norm(found - expected, axis=1).max())
    assert max(worst) < 0.15


def test_rays_invert_the_lens() -> None:
    lens = phone_lens()
    rng = np.random.default_rng(3)
    pixels = rng.uniform([0, 0], [lens.width_px, lens.height_px], (5000, 2))
    assert np.abs(lens.project(ray_directions(lens, pixels)) - pixels).max() < 1e-6


def test_a_lens_that_folds_over_is_refused() -> None:
    folding = Lens(1512, 2016, 1000.0, 755.5, 1007.5, k1=-0.9)
    corner = np.array([[0.0, 0.0], [1511.0, 2015.0]])
    with pytest.raises(ValueError, match="inverted"):
        ray_directions(folding, corner)


def test_same_seed_gives_the_same_picture_and_another_only_other_noise(
    scene: Scene, camera: Camera
) -> None:
    first = render_photo(scene, camera, seed=5)
    again = render_photo(scene, camera, seed=5)
    other = render_photo(scene, camera, seed=6)
    assert np.array_equal(first, again)
    assert not np.array_equal(first, other)
    assert np.abs(first.astype(int) - other).max() < 16


def test_every_sheet_reads_as_its_own_tag() -> None:
    detector = cv2.aruco.ArucoDetector(
        cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    )
    for paper, number in (("A4", 1), ("A3", 5), ("Letter", 8)):
        sheet = marker_sheet(paper, number)
        corners, ids, _ = detector.detectMarkers(printed_sheet(sheet))
        assert ids.ravel().tolist() == [sheet.tag_id]
        middle = np.array(printed_sheet(sheet).shape[::-1]) / 2.0
        expected = sheet.tag_corners_mm()[:, :2] * [1, -1] * CELLS_PER_MM + middle
        # four cells to the millimetre, so two cells are half a millimetre
        assert np.abs(corners[0].reshape(4, 2) - expected).max() < 2.0


def test_bow_ties_are_black_upper_left_and_lower_right() -> None:
    sheet = marker_sheet("A4", 1)
    raster = printed_sheet(sheet)
    for x, y, _ in sheet.saddles_mm():
        column = round(raster.shape[1] / 2 + x * CELLS_PER_MM)
        row = round(raster.shape[0] / 2 - y * CELLS_PER_MM)
        for across, down, black in ((-8, -8, True), (8, 8, True), (8, -8, False), (-8, 8, False)):
            assert (raster[row + down, column + across] == 0) == black


def test_sheet_1_points_the_way_the_wearer_faces() -> None:
    pose = sheet_poses(floor_sheets())[marker_sheet("A4", 1).tag_id]
    up = pose.turn(np.array([0.0, 1.0, 0.0]))
    assert up @ np.array([0.0, -1.0, 0.0]) > np.cos(np.radians(5.0))
    assert pose.translation_mm[1] < -500.0


def test_walk_has_neighbours_at_stereo_angles_and_sees_three_sheets_everywhere() -> None:
    """Dense matching wants pairs 8 to 24 degrees apart, three partners or so a photo."""
    cameras, sheets = camera_walk(), floor_sheets()
    assert 28 <= len(cameras) <= 36
    middle = np.array([0.0, 0.0, 1130.0])
    ways = np.array([c.centre_mm() - middle for c in cameras])
    ways /= np.linalg.norm(ways, axis=1, keepdims=True)
    angle = np.degrees(np.arccos(np.clip(ways @ ways.T, -1.0, 1.0)))
    partners = ((angle > 8.0) & (angle < 24.0)).sum(axis=1)
    assert partners.min() >= 2
    for camera in cameras:
        seen = 0
        for placed in sheets:
            corners = camera.project(placed.world_from_sheet.apply(placed.sheet.tag_corners_mm()))
            seen += bool((corners > 10).all() and (corners < [1501, 2005]).all())
        assert seen >= 3


def test_photo_carries_the_phone_and_the_lens_but_no_place() -> None:
    picture = np.full((40, 30, 3), 90, dtype=np.uint8)
    data = photo_jpeg(picture, focal_35mm=PHONE_35MM)
    exif = Image.open(io.BytesIO(data)).getexif()
    assert (exif[0x010F], exif[0x0110], exif[0x0112]) == ("Heron", "Studio 26", 1)
    assert exif.get_ifd(0x8769)[0xA405] == PHONE_35MM
    assert not exif.get_ifd(0x8825)
    # the 35 mm equivalent is the long side's: 36 mm of film (CIPA DC-008)
    assert phone_lens().focal_px == pytest.approx(2016 * PHONE_35MM / 36, rel=0.02)
