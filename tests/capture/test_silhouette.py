"""Outlines by colour, hull and rims, on a ball of known size in front of a speckled wall."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from fitkit.capture.camera import Camera
from fitkit.capture.closed_surface import mesh_of_grid
from fitkit.capture.outline_moves import Outlines, follow_outlines
from fitkit.capture.point_cloud import PointCloud
from fitkit.capture.refinement_pass import RefinementPass
from fitkit.capture.rim_edges import rim_likeness
from fitkit.capture.silhouette import reduced_colour, silhouette, splat
from fitkit.capture.surface_smoothing import fair
from fitkit.capture.visual_hull import hull_grid
from fitkit.geometry.arrays import Bools
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.rigid import RigidTransform
from tests.capture.plain_ball import RADIUS_MM, ball_cameras, ball_cover, ball_picture
from tests.truth.solids import sphere


def _disc(camera: Camera, radius_mm: float) -> Bools:
    return np.asarray(ball_cover(camera, radius_mm, 1) > 0.5)


def test_outline_by_colour_is_that_of_the_ball() -> None:
    """Known is half of the ball and what lies far beside it; the rest is within a pixel."""
    camera = ball_cameras()[3]
    body, room = _disc(camera, 50.0), ~_disc(camera, 170.0)
    found = silhouette(ball_picture(3), body=body, room=room)
    assert found is not None
    wrong = found != _disc(camera, RADIUS_MM)
    rim = _disc(camera, RADIUS_MM + 3.0) & ~_disc(camera, RADIUS_MM - 3.0)
    assert not (wrong & ~rim).any()
    assert wrong.sum() < 0.02 * found.sum()


def test_outline_needs_to_know_a_little_of_both() -> None:
    nothing = np.zeros((240, 180), dtype=np.bool_)
    assert silhouette(ball_picture(0), body=nothing, room=~nothing) is None
    assert silhouette(ball_picture(0), body=~nothing, room=~nothing) is None


def test_grey_pictures_get_three_equal_channels_and_the_bound_holds() -> None:
    colour = reduced_colour(ball_picture(0)[:, :, 0], 120)
    assert colour.shape == (120, 90, 3)
    assert (colour[:, :, 0] == colour[:, :, 2]).all()


def test_points_fall_where_the_camera_projects_them() -> None:
    camera = ball_cameras()[2]
    point = np.array([[30.0, -20.0, 40.0]])
    hit = splat(point, camera, (120, 90), grow_px=0)
    column, row = (camera.project(point)[0] + 0.5) / 2.0 - 0.5
    assert np.argwhere(hit).tolist() == [[round(row), round(column)]]
    assert splat(point, camera, (120, 90), grow_px=2).sum() == 25


@pytest.mark.parametrize("spare", [0, 1])
def test_hull_of_round_outlines_is_round(spare: int) -> None:
    """The ball lies inside its hull; one photo without the ball is forgiven with one to spare."""
    cameras = ball_cameras()
    outlines = [_disc(camera, RADIUS_MM) for camera in cameras]
    if spare:
        outlines[4] = np.zeros_like(outlines[4])
    corner = np.full(3, 130.0)
    grid = hull_grid(outlines, cameras, -corner, corner, cell_mm=6.0, spare=spare)
    mesh = mesh_of_grid(grid)
    away = np.linalg.norm(mesh.vertices, axis=1)
    level = np.abs(mesh.vertices[:, 2]) < 40.0
    assert np.abs(np.median(away[level]) - RADIUS_MM) < 3.0
    assert away.min() > RADIUS_MM - 3.0


def test_rims_are_brightest_where_the_ball_ends() -> None:
    """A ball 3 mm too small: its rims are edges once they are moved out by 3 mm."""
    small = sphere(RADIUS_MM - 3.0, 8.0)
    normal = small.vertices / np.linalg.norm(small.vertices, axis=1, keepdims=True)
    moves = np.arange(-9.0, 9.1, 1.5)
    pictures = [ball_picture(k) for k in range(len(ball_cameras()))]
    strength, seen = rim_likeness(
        small, normal, ball_cameras(), pictures, moves, clear_mm=4.0, behind_mm=20.0, cell_mm=6.0
    )
    on_rim = seen > 0.3
    assert on_rim.mean() > 0.2
    best = moves[strength[on_rim].argmax(axis=1)]
    assert np.median(best) == pytest.approx(3.0, abs=0.8)


def test_rims_lie_where_half_the_light_falls() -> None:
    """A bright ball before a dark wall, out of focus: by its greys it ends 2 mm too far out."""
    camera = ball_cameras()[0]
    cover = cv2.GaussianBlur(ball_cover(camera, samples=4), (0, 0), 1.5)
    # The tone curve of IEC 61966-2-1, from light to what is stored.
    light = 0.02 + 0.88 * cover
    picture = np.rint(255.0 * (1.055 * light ** (1 / 2.4) - 0.055)).astype(np.uint8)
    ball = sphere(RADIUS_MM, 6.0)
    moves = np.arange(-6.0, 6.1, 0.25)
    strength, seen = rim_likeness(
        ball,
        ball.vertices / RADIUS_MM,
        [camera],
        [picture],
        moves,
        clear_mm=4.0,
        behind_mm=20.0,
        cell_mm=3.0,
    )
    best = moves[strength[seen > 0.2].argmax(axis=1)]
    assert abs(np.median(best)) < 0.8


@pytest.mark.parametrize(("behind_mm", "seen_n"), [(20.0, 12), (200.0, 0)])
def test_rims_before_the_body_itself_are_edges_too(behind_mm: float, seen_n: int) -> None:
    """A ball a little darker before a large one: 50 mm are free behind its rim, not 200."""
    camera = ball_cameras()[0]
    middle = 0.2 * camera.centre_mm()
    pose = camera.camera_from_world
    nearer = replace(
        camera, camera_from_world=RigidTransform(pose.rotation, pose.apply(middle[None])[0])
    )
    cover, shade = ball_cover(camera, RADIUS_MM), ball_cover(nearer, 40.0)
    picture = np.where(cover > 0.5, 190.0, 100.0) - 16.0 * shade
    large, small = sphere(RADIUS_MM, 12.0), sphere(37.0, 6.0)
    both = TriangleMesh(
        np.vstack([large.vertices, small.vertices + middle]),
        np.vstack([large.faces, small.faces + len(large.vertices)]),
    )
    moves = np.arange(-9.0, 9.1, 1.0)
    strength, seen = rim_likeness(
        both,
        both.vertex_normals(),
        [camera],
        [picture.astype(np.uint8)],
        moves,
        clear_mm=4.0,
        behind_mm=behind_mm,
        cell_mm=3.0,
    )
    seen[: len(large.vertices)] = 0.0
    on_rim = seen > 0.2
    assert (on_rim.sum() >= seen_n) if seen_n else not on_rim.any()
    best = moves[strength[on_rim].argmax(axis=1)]
    np.testing.assert_allclose(best, 3.0, atol=1.5)


def test_plain_ball_comes_out_by_its_outlines_alone() -> None:
    """From 6 mm too large to half a millimetre: a fifth of these photos' pixels."""
    pictures = [ball_picture(k) for k in range(len(ball_cameras()))]
    outlines = Outlines(pictures, -np.inf, PointCloud(np.zeros((0, 3)), np.zeros((0, 3))))
    mesh = sphere(RADIUS_MM + 6.0, 8.0)
    for _ in range(3):
        mesh, certainty = follow_outlines(
            mesh, ball_cameras(), outlines, RefinementPass(12.0, 2.0, 4.0, 3)
        )
        mesh = fair(mesh, certainty)
    level = np.abs(mesh.vertices[:, 2]) < 70.0
    off = np.linalg.norm(mesh.vertices[level], axis=1) - RADIUS_MM
    assert abs(np.median(off)) < 0.6
    assert np.sqrt((off**2).mean()) < 1.2


def test_fairing_keeps_what_is_certain_and_bends_the_rest_along() -> None:
    """A dented ball is round again where only the dent is uncertain."""
    ball = sphere(RADIUS_MM, 8.0)
    dented = ball.vertices[:, 0] > 88.0
    vertices = np.where(dented[:, None], 0.9 * ball.vertices, ball.vertices)
    healed = fair(ball.with_vertices(vertices), np.where(dented, 0.0, 1.0))
    away = np.linalg.norm(healed.vertices, axis=1)
    assert np.abs(away[~dented] - RADIUS_MM).max() < 2.5
    assert away[dented].min() > RADIUS_MM - 3.0
