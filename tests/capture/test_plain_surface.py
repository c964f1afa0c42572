"""A plain ball known to stereo in its middle only: outlines give the rest."""

from __future__ import annotations

import numpy as np
import pytest

from fitkit.capture.closed_surface import mesh_of_grid
from fitkit.capture.depth_map import DepthMap
from fitkit.capture.outline_moves import Outlines
from fitkit.capture.outlined_body import outlined_body
from fitkit.capture.plain_surface import (
    is_plain,
    patterned_points,
    plain_share,
    plain_surface,
)
from fitkit.capture.point_cloud import PointCloud
from fitkit.capture.scan import CaptureVolume
from fitkit.geometry.arrays import Floats
from tests.capture.plain_ball import RADIUS_MM, ball_cameras, ball_picture
from tests.truth.solids import sphere

_VOLUME = CaptureVolume(0.0, 0.0, 250.0, -180.0, 180.0)


def _maps(*, body: bool) -> tuple[DepthMap, ...]:
    """Return what stereo knows: the ball's middle, or the wall well beside it."""
    maps = []
    for camera in ball_cameras():
        lens = camera.lens
        matrix = np.array([[165.0, 0.0, 45.0], [0.0, 165.0, 60.0], [0.0, 0.0, 1.0]])
        v, u = np.mgrid[0 : lens.height_px // 2, 0 : lens.width_px // 2]
        ways = np.stack([(u - 45.0) / 165.0, (v - 60.0) / 165.0, np.ones(u.shape)], axis=-1)
        centre = camera.camera_from_world.translation_mm
        along = ways @ centre / (ways**2).sum(axis=-1)
        off = np.linalg.norm(centre - along[..., None] * ways, axis=-1)
        inside = np.sqrt(np.maximum(RADIUS_MM**2 - off**2, 0.0)) / np.linalg.norm(ways, axis=-1)
        if body:
            depth = np.where(off < 65.0, along - inside, 0.0)
        else:
            depth = np.where(off > 130.0, 2000.0, 0.0)
        maps.append(DepthMap(depth.astype(np.float32), matrix, camera.camera_from_world))
    return tuple(maps)


def _off(vertices: Floats) -> Floats:
    level = np.abs(vertices[:, 2]) < 70.0
    return np.asarray(np.linalg.norm(vertices[level], axis=1) - RADIUS_MM)


def test_plain_ball_is_found_by_colour_and_settles_on_its_outlines() -> None:
    """A fifth of a pixel of these photos (2.4 mm) in the mean; a third of one all over."""
    cameras = ball_cameras()
    pictures = [ball_picture(k) for k in range(len(cameras))]
    fine, wide = _maps(body=True), _maps(body=False)
    points = np.vstack([one.points_mm() for one in fine])
    told: list[float] = []
    outlined = outlined_body(
        pictures, cameras, wide, fine, _VOLUME, points, scale=1.0, say=told.append
    )
    assert outlined is not None
    assert told == sorted(told)
    assert told[-1] == pytest.approx(1.0)
    assert abs(np.median(_off(mesh_of_grid(outlined.hull).vertices))) < 3.0
    cloud = PointCloud(points, points / RADIUS_MM)
    surface = plain_surface(outlined, fine, cameras, Outlines(pictures, -np.inf, cloud), scale=1.0)
    off = _off(surface.vertices)
    assert abs(np.median(off)) < 0.6
    assert np.sqrt((off**2).mean()) < 1.0


def test_photos_that_know_nothing_of_the_body_give_no_outlines() -> None:
    cameras = ball_cameras()
    pictures = [ball_picture(k) for k in range(len(cameras))]
    box = np.array([[-100.0, -100.0, -100.0], [100.0, 100.0, 100.0]])
    assert (
        outlined_body(pictures, cameras, (), (), _VOLUME, box, scale=1.0, say=lambda _part: None)
        is None
    )


def test_half_a_plain_ball_is_half_plain() -> None:
    ball = sphere(RADIUS_MM, 8.0)
    certainty = np.where(ball.vertices[:, 0] > 0.0, 1.0, 0.0)
    share = plain_share(ball, certainty, _VOLUME, ball_cameras(), scale=1.0)
    # The caps above and below are seen by too few photos to count.
    assert 0.3 < share < 0.52
    assert is_plain(ball, certainty, _VOLUME, ball_cameras(), scale=1.0)
    assert not is_plain(ball, np.ones(len(certainty)), _VOLUME, ball_cameras(), scale=1.0)


def test_points_of_plain_places_are_dropped_but_never_all() -> None:
    ball = sphere(RADIUS_MM, 8.0)
    cloud = PointCloud(ball.vertices, ball.vertices / RADIUS_MM)
    certainty = np.where(ball.vertices[:, 0] > 0.0, 1.0, 0.0)
    kept = patterned_points(cloud, ball, certainty)
    np.testing.assert_array_equal(kept, ball.vertices[:, 0] > 0.0)
    assert patterned_points(cloud, ball, np.zeros(len(certainty))).sum() >= 500
