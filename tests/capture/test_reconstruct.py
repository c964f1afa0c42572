"""From photos and cameras to one closed surface, against an egg of known shape."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fitkit.capture.photo import Photo
from fitkit.capture.reconstruct import reconstruct
from fitkit.capture.scan import Scan, SolvedCameras
from fitkit.errors import PhotoError
from fitkit.geometry.nearest import nearest_on_mesh
from fitkit.geometry.topology import components, euler_characteristic, is_closed, is_manifold
from tests.truth.textured_egg import BOTTOM_MM, VOLUME, egg_mesh, egg_scene, egg_volume_mm3


@pytest.fixture(scope="module")
def told() -> list[tuple[float, str]]:
    return []


@pytest.fixture(scope="module")
def scan(told: list[tuple[float, str]]) -> Scan:
    scene = egg_scene()
    return reconstruct(
        scene.photos,
        scene.solved,
        VOLUME,
        progress=lambda fraction, words: told.append((fraction, words)),
    )


def test_the_surface_is_one_closed_outward_piece(scan: Scan) -> None:
    assert is_closed(scan.surface)
    assert is_manifold(scan.surface)
    assert components(scan.surface).max() == 0
    assert euler_characteristic(scan.surface) == 2
    assert scan.surface.volume_mm3() > 0


def test_the_surface_lies_on_the_egg(scan: Scan) -> None:
    """Half a millimetre: a third of a pixel of these photos, far below what a plate feels."""
    side = scan.surface.vertices[scan.surface.vertices[:, 2] > BOTTOM_MM + 6.0]
    distance = nearest_on_mesh(egg_mesh(), side)[2]
    assert np.sqrt(np.mean(distance**2)) < 0.5
    assert np.median(distance) < 0.2
    assert distance.max() < 6.0


def test_the_volume_is_that_of_the_egg_above_the_cut(scan: Scan) -> None:
    """Closed form of the egg's volume; 0.5 % of a half litre is a shell of 0.2 mm."""
    assert scan.surface.volume_mm3() == pytest.approx(egg_volume_mm3(BOTTOM_MM), rel=5e-3)


def test_floor_pole_and_boxes_are_left_out(scan: Scan) -> None:
    low, high = scan.surface.bounds_mm()
    assert low[2] == pytest.approx(BOTTOM_MM, abs=0.05)
    assert high[2] == pytest.approx(1160.0, abs=4.0)
    assert np.abs([low[:2], high[:2]]).max() < 153.0
    assert scan.cloud_mm[:, 2].min() >= BOTTOM_MM


def test_normals_of_the_cloud_point_outward(scan: Scan) -> None:
    outward = scan.cloud_mm - [0.0, 0.0, 900.0]
    assert (np.einsum("pi,pi->p", outward, scan.cloud_normals) > 0).mean() > 0.995
    np.testing.assert_allclose(np.linalg.norm(scan.cloud_normals, axis=1), 1.0, atol=1e-6)


def test_distance_to_the_cloud_is_small_where_photos_looked(scan: Scan) -> None:
    side = np.abs(scan.surface.vertices[:, 2] - 900.0) < 120.0
    assert scan.surface_distance_mm[side].max() < 12.0
    middle = np.linalg.norm(scan.surface.vertices - [0.0, 0.0, BOTTOM_MM], axis=1) < 40.0
    assert scan.surface_distance_mm[middle].min() > 20.0


def test_progress_runs_from_nothing_to_done(scan: Scan, told: list[tuple[float, str]]) -> None:
    assert len(scan.surface.faces) > 0
    fractions = [fraction for fraction, _ in told]
    assert fractions[0] == 0.0
    assert fractions[-1] == 1.0
    assert fractions == sorted(fractions)
    assert all(words for _, words in told)


def test_photos_with_nothing_in_common_are_refused() -> None:
    scene = egg_scene()
    opposite = SolvedCameras(scene.solved.cameras[::9], (), 0.0, 0.0)
    with pytest.raises(PhotoError, match="None of the 2 placed photos overlaps") as caught:
        reconstruct(scene.photos, opposite, VOLUME)
    assert "10 to 15 degrees" in caught.value.remedy


def test_blank_photos_are_refused_with_the_remedy_of_a_pattern() -> None:
    scene = egg_scene()
    blank = [
        Photo(photo.name, np.full_like(photo.grey, 128), photo.focal_px, True, photo.lens_key)
        for photo in scene.photos
    ]
    with pytest.raises(PhotoError, match="agree on only") as caught:
        reconstruct(blank, scene.solved, VOLUME)
    assert "pattern" in caught.value.remedy


def test_a_volume_beside_the_body_is_refused() -> None:
    scene = egg_scene()
    with pytest.raises(PhotoError):
        reconstruct(scene.photos, scene.solved, replace(VOLUME, bottom_mm=1250.0))


def test_a_photo_of_another_size_than_its_camera_is_refused() -> None:
    scene = egg_scene()
    first = scene.photos[0]
    small = Photo(first.name, first.grey[::2, ::2].copy(), 300.0, True, first.lens_key)
    with pytest.raises(PhotoError, match="was solved for") as caught:
        reconstruct((small, *scene.photos[1:]), scene.solved, VOLUME)
    assert first.name in caught.value.cause
