"""A plain ball known to stereo in its middle only: outlines give the rest."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial import cKDTree

from fitkit.capture.closed_surface import mesh_of_grid
from fitkit.capture.depth_map import DepthMap
from fitkit.capture.outlined_body import outlined_body
from fitkit.capture.plain_surface import Lack, lacking_pattern, patterned_points, plain_surface
from fitkit.capture.point_cloud import PointCloud
from fitkit.capture.scan import CaptureVolume
from fitkit.capture.signed_grid import signed_grid
from fitkit.capture.surface_refinement import Outlines
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
    hull = outlined_body(pictures, cameras, wide, fine, _VOLUME, points, scale=1.0, say=told.append)
    assert hull is not None
    assert told == sorted(told)
    assert told[-1] == pytest.approx(1.0)
    assert abs(np.median(_off(mesh_of_grid(hull).vertices))) < 3.0
    surface = plain_surface(hull, fine, cameras, Outlines(pictures, -np.inf), scale=1.0)
    off = _off(surface.vertices)
    assert abs(np.median(off)) < 0.6
    assert np.sqrt((off**2).mean()) < 1.0


def test_photos_that_know_nothing_of_the_body_give_no_outlines() -> None:
    cameras = ball_cameras()
    pictures = [ball_picture(k) for k in range(len(cameras))]
    box = np.array([[-100.0, -100.0, -100.0], [100.0, 100.0, 100.0]])
    hull = outlined_body(pictures, cameras, (), (), _VOLUME, box, scale=1.0, say=lambda _part: None)
    assert hull is None


def test_half_a_plain_ball_is_half_plain() -> None:
    ball = sphere(RADIUS_MM, 8.0)
    certainty = np.where(ball.vertices[:, 0] > 0.0, 1.0, 0.0)
    near = cKDTree(ball.vertices[ball.vertices[:, 1] > 0.0])
    lack = lacking_pattern(ball, certainty, near, _VOLUME, ball_cameras(), scale=1.0)
    # The caps above and below are seen by too few photos to count.
    assert 0.3 < lack.plain < 0.52
    assert 0.3 < lack.bridged < 0.5
    assert lack.is_plain
    assert Lack(0.0, 0.05).calls_for_outlines
    assert not Lack(0.0, 0.05).is_plain
    assert not Lack(0.01, 0.001).calls_for_outlines


def test_points_of_plain_places_are_dropped_but_never_all() -> None:
    ball = sphere(RADIUS_MM, 8.0)
    cloud = PointCloud(ball.vertices, ball.vertices / RADIUS_MM)
    certainty = np.where(ball.vertices[:, 0] > 0.0, 1.0, 0.0)
    kept = patterned_points(cloud, ball, certainty)
    np.testing.assert_array_equal(kept, ball.vertices[:, 0] > 0.0)
    assert patterned_points(cloud, ball, np.zeros(len(certainty))).sum() >= 500


def test_a_grid_is_read_between_its_nodes_and_goes_on_at_its_edge() -> None:
    """A plane's distances are linear, so another grid reads them exactly."""
    fine = signed_grid(sphere(40.0, 8.0), cell_mm=5.0, margin_mm=20.0)
    x = fine.nodes_mm(0)[:, None, None] + 0.0 * fine.values_mm
    plane = type(fine)(x.astype(np.float32), fine.low_mm, fine.cell_mm)
    other = signed_grid(sphere(30.0, 8.0), cell_mm=3.0, margin_mm=60.0)
    read = plane.at(other)
    assert read.shape == other.values_mm.shape
    wanted = np.clip(other.nodes_mm(0), x.min(), x.max())
    np.testing.assert_allclose(read[:, 3, 5], wanted, atol=1e-3)
