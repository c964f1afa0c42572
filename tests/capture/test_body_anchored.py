"""A swaying body: cameras found again on its own pattern; an egg leans by known angles."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from fitkit.capture.body_anchored import BodyAnchor, anchor_to_body
from fitkit.capture.body_features import FeatureTracks, track_features, triangulated
from fitkit.capture.camera import Camera
from fitkit.findings import Severity
from fitkit.geometry.nearest import nearest_on_mesh
from tests.truth.swaying_egg import TOP_MM, swaying_egg
from tests.truth.textured_egg import VOLUME, egg_mesh, egg_scene

# Beyond 15 mm in one photo, which is worth a warning.
SWAY_MM = 10.0


def across_rms_mm(cameras: Sequence[Camera], truth: Sequence[Camera]) -> float:
    """How far, across the line of sight, the cameras see places of the egg from where it was.

    One rigid motion is common to all cameras and means nothing; it is taken out. Along the
    line of sight lies what the scale is uncertain by, which has a test of its own.
    """
    places = np.array(
        [[x, y, z] for x in (-120.0, 120.0) for y in (-90.0, 90.0) for z in (760.0, 900.0, 1100.0)]
    )
    felt = [camera.camera_from_world.apply(places) for camera in truth]
    poses = [camera.camera_from_world for camera in cameras]
    found = [pose.inverse().apply(local) for pose, local in zip(poses, felt, strict=True)]
    middle = np.mean(found, axis=0)
    a, b = places - places.mean(axis=0), middle - middle.mean(axis=0)
    u, _, vt = np.linalg.svd(b.T @ a)
    turn = u @ np.diag([1.0, 1.0, np.linalg.det(u @ vt)]) @ vt
    common = a @ turn.T + middle.mean(axis=0)
    off = np.stack(
        [(pose.apply(common) - local)[:, :2] for pose, local in zip(poses, felt, strict=True)]
    )
    return float(np.sqrt((off**2).sum(axis=2).mean()))


@pytest.fixture(scope="module")
def anchor() -> BodyAnchor:
    egg = swaying_egg(SWAY_MM)
    return anchor_to_body([p.grey for p in egg.photos], egg.solved, VOLUME)


def test_a_still_body_tells_no_sway() -> None:
    egg = egg_scene()
    anchor = anchor_to_body([p.grey for p in egg.photos], egg.solved, VOLUME)
    assert anchor.findings == ()
    assert not anchor.moved_mm.any()
    assert across_rms_mm(anchor.solved.cameras, egg.solved.cameras) < 0.1


def test_a_still_body_mends_cameras_that_miss_each_other() -> None:
    """Each camera of a still egg shifted by 0.25 mm its own way: more than half is made good."""
    egg = egg_scene()
    rng = np.random.default_rng(4)
    shaken = []
    for camera in egg.solved.cameras:
        pose = camera.camera_from_world
        shift = pose.translation_mm + rng.normal(0.0, 0.25, 3) * [1.0, 1.0, 0.0]
        shaken.append(replace(camera, camera_from_world=replace(pose, translation_mm=shift)))
    solved = replace(egg.solved, cameras=tuple(shaken))
    anchor = anchor_to_body([p.grey for p in egg.photos], solved, VOLUME)
    assert not anchor.moved_mm.any()
    before = across_rms_mm(shaken, egg.solved.cameras)
    assert across_rms_mm(anchor.solved.cameras, egg.solved.cameras) < before / 2.0


def test_tracked_points_lie_on_the_egg() -> None:
    """A quarter of a pixel is 0.35 mm along and, in rays 20 to 40 degrees apart, 0.7 mm deep."""
    egg = egg_scene()
    tracks, _ = track_features(
        [p.grey for p in egg.photos], egg.solved.cameras, VOLUME, say=lambda _: None
    )
    poses = [camera.camera_from_world for camera in egg.solved.cameras]
    points = triangulated(
        tracks,
        np.stack([pose.rotation for pose in poses]),
        np.stack([pose.translation_mm for pose in poses]),
    )
    distance = nearest_on_mesh(egg_mesh(), points)[2]
    assert tracks.points_n > 300
    assert np.bincount(tracks.point).min() >= 3
    assert np.median(distance) < 0.5
    assert (distance < 2.0).mean() > 0.95


def test_each_photo_finds_the_swaying_body_where_it_was(anchor: BodyAnchor) -> None:
    """A pixel of these photos is 1.5 mm on the egg."""
    egg = swaying_egg(SWAY_MM)
    assert across_rms_mm(egg.solved.cameras, egg.body_cameras) > 0.5 * SWAY_MM
    assert across_rms_mm(anchor.solved.cameras, egg.body_cameras) < 0.5


def test_the_scale_stays_that_of_the_floor(anchor: BodyAnchor) -> None:
    """10 mm to and fro at 1 m in each of 14 photos hide 10 / sqrt(2) / 1000 / sqrt(14) = 0.19 %."""
    egg = swaying_egg(SWAY_MM)
    sizes = []
    for cameras in (egg.body_cameras, anchor.solved.cameras):
        centres = np.stack([camera.centre_mm() for camera in cameras])
        sizes.append(np.sqrt(((centres - centres.mean(axis=0)) ** 2).sum()))
    assert sizes[1] / sizes[0] == pytest.approx(1.0, abs=3.8e-3)
    assert anchor.solved.scale_sigma == pytest.approx(SWAY_MM / 1.41 / 1e3 / 14**0.5, rel=0.5)


def test_the_sway_is_told_in_mm_with_the_photo_and_a_remedy(anchor: BodyAnchor) -> None:
    egg = swaying_egg(SWAY_MM)
    top = np.array([0.0, 0.0, TOP_MM])
    true_mm = [
        np.linalg.norm(felt.camera_from_world.apply(top) - camera.camera_from_world.apply(top))
        for felt, camera in zip(egg.body_cameras, egg.solved.cameras, strict=True)
    ]
    # Twice what the scale is uncertain by, 0.19 % of a metre.
    np.testing.assert_allclose(anchor.moved_mm, true_mm, atol=3.8)
    (finding,) = anchor.findings
    assert finding.code == "body-swayed"
    assert finding.where == egg.photos[int(np.argmax(true_mm))].name
    assert finding.number == pytest.approx(max(true_mm), abs=3.8)
    assert finding.severity is Severity.WARNING
    assert "hold on to" in finding.remedy


def test_features_where_a_lens_has_no_inverse_are_left_out() -> None:
    """With k1 = -1.2 the picture's edge lies beyond what the lens model ever reaches."""
    egg = egg_scene()
    cameras = [
        replace(camera, lens=replace(camera.lens, k1=-1.2, k2=0.0))
        for camera in egg.solved.cameras[:5]
    ]
    tracks, unvoted = track_features(
        [p.grey for p in egg.photos[:5]], cameras, VOLUME, say=lambda _: None
    )
    assert np.isfinite(tracks.rays).all()
    assert np.isfinite(unvoted.rays).all()
    assert len(unvoted.rays) > 0


def test_a_plain_body_cannot_tell_and_says_so() -> None:
    egg = egg_scene()
    blank = [np.full_like(photo.grey, 128) for photo in egg.photos]
    anchor = anchor_to_body(blank, egg.solved, VOLUME)
    assert anchor.solved is egg.solved
    (finding,) = anchor.findings
    assert finding.code == "sway-unknown"
    assert finding.message.endswith("whether it moved between photos cannot be told.")
    assert "chair back" in finding.remedy


def test_a_photo_that_shows_no_pattern_of_a_swaying_body_is_left_out_by_name() -> None:
    egg = swaying_egg(SWAY_MM)
    greys = [photo.grey for photo in egg.photos]
    greys[4] = np.full_like(greys[4], 128)
    anchor = anchor_to_body(greys, egg.solved, VOLUME)
    assert [f.where for f in anchor.findings if f.code == "photo-off-body"] == ["egg_04.jpg"]
    assert len(anchor.solved.cameras) == len(anchor.moved_mm) == 13
    assert "egg_04.jpg" not in [camera.photo for camera in anchor.solved.cameras]


def _few_rough_sightings(cameras: Sequence[Camera], *, off_px: float) -> FeatureTracks:
    """Of a still egg: ninety points, three photos each, all but a few of the photos show few."""
    rng = np.random.default_rng(3)
    points = rng.choice(egg_mesh().vertices, 90)
    camera, point, rays = [], [], []
    for index, place in enumerate(points):
        first = 0 if index < 30 else index % len(cameras)
        for one in range(first, first + 3):
            seen = cameras[one % len(cameras)].camera_from_world.apply(place[None])[0]
            camera.append(one % len(cameras))
            point.append(index)
            rays.append(seen[:2] / seen[2])
    sigma = np.full(len(rays), 1e-3)
    return FeatureTracks(
        np.array(camera),
        np.array(point),
        np.array(rays) + off_px * 1e-3 * rng.normal(size=(len(rays), 2)),
        sigma,
        len(points),
    )


def test_a_few_rough_features_neither_move_cameras_nor_cost_photos(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Cameras can be bent to fit a handful of features that miss by two pixels."""
    egg = egg_scene()
    tracks = _few_rough_sightings(egg.solved.cameras, off_px=2.0)
    monkeypatch.setattr(
        "fitkit.capture.body_anchored.track_features", lambda *_, **__: (tracks, tracks)
    )
    anchor = anchor_to_body([p.grey for p in egg.photos], egg.solved, VOLUME)
    assert [finding.code for finding in anchor.findings] == ["sway-unknown"]
    assert anchor.findings[0].unit == "photos"
    assert anchor.solved is egg.solved
