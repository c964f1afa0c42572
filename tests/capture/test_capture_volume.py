"""The column round what the cameras looked at."""

from __future__ import annotations

import numpy as np
import pytest

from fitkit.capture.camera import Lens
from fitkit.capture.capture_volume import (
    column_points,
    default_capture_volume,
    inside_volume,
    seen_by,
)
from fitkit.capture.pair_choice import choose_pairs
from fitkit.capture.scan import CaptureVolume, SolvedCameras
from fitkit.errors import InputError, PhotoError
from tests.truth.textured_egg import camera_at

LENS = Lens(300, 400, 300.0, 149.5, 199.5)


def ring(
    count: int = 12, *, distance_mm: float = 1800.0, centre: tuple[float, float] = (0.0, 0.0)
) -> SolvedCameras:
    target = np.array([*centre, 1000.0])
    cameras = []
    for index in range(count):
        angle = 2 * np.pi * index / count
        place = target + distance_mm * np.array([np.cos(angle), np.sin(angle), 0.0])
        cameras.append(camera_at(f"{index}", place, target, lens=LENS))
    return SolvedCameras(tuple(cameras), (), 0.0, 0.0)


def test_axis_goes_through_the_point_looked_at() -> None:
    volume = default_capture_volume(ring(centre=(120.0, -80.0)))
    assert volume.centre_x_mm == pytest.approx(120.0, abs=0.1)
    assert volume.centre_y_mm == pytest.approx(-80.0, abs=0.1)
    assert volume.bottom_mm == 15.0


def test_radius_is_half_the_nearest_distance_up_to_700_mm() -> None:
    assert default_capture_volume(ring(distance_mm=900.0)).radius_mm == pytest.approx(450.0, abs=1)
    assert default_capture_volume(ring(distance_mm=1800.0)).radius_mm == 700.0


def test_a_photo_from_high_above_does_not_make_the_column_thin() -> None:
    """It stands near the axis but not near the subject."""
    level = ring(distance_mm=600.0)
    above = camera_at("above", np.array([20.0, 0.0, 1600.0]), np.array([0, 0, 1000.0]), lens=LENS)
    solved = SolvedCameras((*level.cameras, above), (), 0.0, 0.0)
    assert default_capture_volume(solved).radius_mm == pytest.approx(0.5 * 0.7 * 600.0, rel=0.02)


def test_a_small_subject_seen_from_near_starts_lower() -> None:
    """Ten pixels of 0.67 mm (photos of 2016 px looked at as 1008) are 6.7 mm."""
    lens = Lens(1512, 2016, 1500.0, 755.5, 1007.5)
    target = np.array([0.0, 0.0, 120.0])
    cameras = tuple(
        camera_at(f"{k}", target + 500.0 * np.array([np.cos(k), np.sin(k), 0.0]), target, lens=lens)
        for k in range(6)
    )
    volume = default_capture_volume(SolvedCameras(cameras, (), 0.0, 0.0))
    assert volume.bottom_mm == pytest.approx(6.67, abs=0.05)
    assert volume.radius_mm == pytest.approx(250.0, abs=1.0)
    assert volume.top_mm < 500.0


def test_top_is_what_the_field_of_view_shows() -> None:
    """On the axis a level camera sees up to height + distance * (rows above centre) / focal."""
    top = default_capture_volume(ring()).top_mm
    assert top == pytest.approx(1000.0 + 1800.0 * 199.5 / 300.0, abs=10.0)


def test_the_maker_may_say_otherwise() -> None:
    volume = default_capture_volume(ring(), radius_mm=300.0, bottom_mm=760.0, top_mm=1500.0)
    assert (volume.radius_mm, volume.bottom_mm, volume.top_mm) == (300.0, 760.0, 1500.0)


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"radius_mm": 0.0}, "radius 0 mm"),
        ({"bottom_mm": 900.0, "top_mm": 800.0}, "800 mm is not above its bottom at 900 mm"),
    ],
)
def test_unusable_values_are_refused_with_words(options: dict[str, float], words: str) -> None:
    with pytest.raises(InputError) as caught:
        default_capture_volume(ring(), **options)
    assert words in caught.value.cause
    assert caught.value.remedy


def test_one_photo_is_not_enough() -> None:
    with pytest.raises(PhotoError, match="Only 1 photo"):
        default_capture_volume(SolvedCameras(ring().cameras[:1], (), 0.0, 0.0))


def test_inside_is_inside_the_column() -> None:
    volume = CaptureVolume(10.0, 0.0, 100.0, 50.0, 500.0)
    points = np.array([[105.0, 0, 100], [115.0, 0, 100], [10, 0, 49], [10, 0, 501], [10, 99, 50]])
    np.testing.assert_array_equal(inside_volume(volume, points), [True, False, False, False, True])
    assert inside_volume(volume, points, margin_mm=6.0).all()
    assert inside_volume(volume, column_points(volume), margin_mm=1e-6).all()


def test_points_behind_and_beside_are_not_seen() -> None:
    camera = ring().cameras[0]  # at +x, looking towards -x
    points = np.array([[0.0, 0, 1000], [3000, 0, 1000], [0, 2500, 1000], [0, 0, 2100]])
    np.testing.assert_array_equal(seen_by(camera, points), [True, False, False, True])


def test_neighbours_on_a_ring_are_paired_and_distant_photos_are_not() -> None:
    cameras = ring(24).cameras  # 15 degrees apart
    pairs = choose_pairs(cameras, column_points(CaptureVolume(0, 0, 250, 700, 1400)), each=2)
    assert set(pairs) == {(i, i + 1) for i in range(23)} | {(0, 23)}
    four = ring(4).cameras
    assert choose_pairs(four, column_points(CaptureVolume(0, 0, 250, 700, 1400))) == ()


def test_many_photos_of_one_side_leave_pairs_for_the_others() -> None:
    """A hundred photos of the front, a hundred of the rest: all bearings keep their pairs."""
    degrees = np.concatenate([np.linspace(-20.0, 20.0, 100), np.linspace(30.0, 330.0, 100)])
    target = np.array([0.0, 0.0, 1000.0])
    ways = np.array([[np.cos(np.radians(d)), np.sin(np.radians(d)), 0.0] for d in degrees])
    cameras = [
        camera_at(f"{d}", target + 1800.0 * way, target, lens=LENS)
        for d, way in zip(degrees, ways, strict=True)
    ]
    pairs = choose_pairs(cameras, column_points(CaptureVolume(0, 0, 250, 700, 1400)))
    assert len(pairs) == 48
    middle = np.sort(np.degrees(np.angle([complex(*(ways[i] + ways[j])[:2]) for i, j in pairs])))
    gaps = np.diff(np.append(middle, middle[0] + 360.0))
    # Taken by cost alone all lie within the front 51 degrees.
    assert gaps.max() < 20.0
