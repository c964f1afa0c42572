from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from fitkit.capture.camera import Camera, Lens
from fitkit.capture.marker_sheet import marker_sheet
from fitkit.capture.photo import Photo
from fitkit.capture.tag_detection import TagSighting
from fitkit.capture.tag_edges import measure_tag_edges
from fitkit.capture.tone_curve import light_of_grey
from fitkit.geometry.rigid import RigidTransform
from tests.capture.sheet_scene import looking_at, photo_of

LENS = Lens(360, 360, 600.0, 179.5, 179.5, k1=0.1, k2=-0.05)
SHEET = marker_sheet("A4", 1)
CAMERA = Camera("a.jpg", LENS, looking_at(np.array([300.0, -700.0, 500.0]), np.zeros(3), 0.4))
TURNED = RigidTransform(Rotation.from_euler("z", 25, degrees=True).as_matrix(), np.zeros(3))


def a_photo(**how: float) -> Photo:
    return photo_of(CAMERA, [(SHEET, TURNED)], **{"noise_grey": 0.0, "fine": 6, **how})  # type: ignore[arg-type]


def rough_sighting(off_px: float = 1.5) -> TagSighting:
    pose = CAMERA.camera_from_world @ TURNED
    corners = LENS.project(pose.apply(SHEET.tag_corners_mm()))
    shifts = off_px * np.array([[1, -0.5], [-0.7, 1], [0.4, 0.8], [-1, -0.6]])
    return TagSighting(SHEET, corners + shifts)


def off_the_true_edge(photo: Photo) -> np.ndarray:
    """(K,) px outwards: how far each station is from where the lens puts the printed edge."""
    stations = measure_tag_edges(light_of_grey(photo.grey), rough_sighting())
    assert stations is not None
    assert len(stations.points_mm) == 24
    assert np.abs(np.abs(stations.points_mm[:, :2]).max(axis=1) - 75.0).max() < 1e-9
    pose = CAMERA.camera_from_world @ TURNED
    true = LENS.project(pose.apply(stations.points_mm))
    return ((stations.pixels_px - true) * stations.outward).sum(axis=1)


def test_edges_are_true_where_the_tone_curve_is_the_assumed_one() -> None:
    """Gamma 2.2 is within 0.01 of the sRGB curve of IEC 61966-2-1."""
    off = off_the_true_edge(a_photo(tone_gamma=2.2))
    assert np.abs(off).max() < 0.06
    assert abs(off.mean()) < 0.03


@pytest.mark.parametrize("gamma", [1.0, 1.6, 2.8])
def test_another_tone_curve_moves_all_edges_alike(gamma: float) -> None:
    off = off_the_true_edge(a_photo(tone_gamma=gamma))
    assert abs(off.mean()) > 0.05
    assert np.abs(off - off.mean()).max() < 0.1


def test_noise_of_two_grey_levels_costs_hundredths_of_a_pixel() -> None:
    off = off_the_true_edge(a_photo(tone_gamma=2.2, noise_grey=2.0))
    assert np.sqrt((off**2).mean()) < 0.05


def test_blur_is_told() -> None:
    """The pixel itself spreads light by 1 / sqrt(12) px."""
    for blur in (0.6, 1.2):
        stations = measure_tag_edges(light_of_grey(a_photo(blur_px=blur).grey), rough_sighting())
        assert stations is not None
        assert stations.blur_px == pytest.approx(np.hypot(blur, 12**-0.5), rel=0.25)


def test_a_covered_stretch_is_left_out() -> None:
    photo = a_photo(tone_gamma=2.2)
    pose = CAMERA.camera_from_world @ TURNED
    hand = LENS.project(pose.apply(np.array([[75.0, 30.0, 0.0]])))[0].astype(int)
    grey = photo.grey.copy()
    grey[hand[1] - 9 : hand[1] + 9, hand[0] - 9 : hand[0] + 9] = 110
    stations = measure_tag_edges(light_of_grey(grey), rough_sighting())
    assert stations is not None
    assert 18 <= len(stations.points_mm) < 24
    true = LENS.project(pose.apply(stations.points_mm))
    off = ((stations.pixels_px - true) * stations.outward).sum(axis=1)
    assert np.median(np.abs(off)) < 0.03
    assert np.sort(np.abs(off))[-3] < 0.2


def test_nothing_is_measured_where_there_is_no_tag() -> None:
    rng = np.random.default_rng(0)
    grey = rng.integers(0, 255, (360, 360)).astype(np.uint8)
    assert measure_tag_edges(light_of_grey(grey), rough_sighting()) is None
    flat = np.full((360, 360), 128, np.uint8)
    assert measure_tag_edges(light_of_grey(flat), rough_sighting()) is None


def test_a_tag_at_the_rim_is_not_measured() -> None:
    sighting = rough_sighting()
    shifted = TagSighting(SHEET, sighting.corners_px - [sighting.corners_px[:, 0].min() - 1, 0])
    assert measure_tag_edges(light_of_grey(a_photo().grey), shifted) is None
