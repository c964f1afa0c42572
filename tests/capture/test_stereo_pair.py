"""Rectification: same point, same row; disparity to depth."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitkit.capture.camera import Camera, Lens
from fitkit.capture.stereo_matching import match_pair
from fitkit.capture.stereo_pair import rectify_pair
from fitkit.geometry.rigid import RigidTransform
from tests.truth.textured_egg import camera_at

LENS = Lens(640, 480, 600.0, 322.0, 236.0, k1=0.06, k2=-0.03, p1=4e-4, p2=-3e-4)
IDEAL = Lens(640, 480, 700.0, 319.5, 239.5)


def cloud(seed: int = 0) -> np.ndarray:
    return np.random.default_rng(seed).uniform([-200, -200, 800], [200, 200, 1200], (300, 3))


def two_cameras(turn_deg: float, lift_mm: float) -> tuple[Camera, Camera]:
    target = np.array([0.0, 0.0, 1000.0])
    turn = np.deg2rad(turn_deg)
    first = np.array([0.0, -1500.0, 1100.0])
    second = np.array([1500 * np.sin(turn), -1500 * np.cos(turn), 1100.0 + lift_mm])
    return (
        camera_at("a", first, target, lens=LENS, roll_rad=0.05),
        camera_at("b", second, target + 10.0, lens=LENS, roll_rad=-0.1),
    )


@given(turn_deg=st.floats(5.0, 30.0), lift_mm=st.floats(-400.0, 400.0))
def test_a_point_falls_on_the_same_row_and_its_disparity_tells_its_depth(
    turn_deg: float, lift_mm: float
) -> None:
    """Definition of a rectified pair; Z = f B / d for the normal case (photogrammetry texts)."""
    points = cloud()
    pair = rectify_pair(*two_cameras(turn_deg, lift_mm), points, focal_px=500.0)
    assert pair is not None
    local = [pair.pose(side).apply(points) for side in ("first", "second")]
    images = [
        part @ pair.matrix(side).T / part[:, 2:]
        for part, side in zip(local, ("first", "second"), strict=True)
    ]
    np.testing.assert_allclose(images[0][:, 1], images[1][:, 1], atol=1e-7)
    depth = pair.depth_mm(images[0][:, 0] - images[1][:, 0])
    np.testing.assert_allclose(depth, local[0][:, 2], rtol=1e-9)
    least, most = pair.disparity_range_px()
    disparity = images[0][:, 0] - images[1][:, 0]
    assert least <= disparity.min()
    assert disparity.max() <= most


@pytest.mark.parametrize("side", ["first", "second"])
def test_every_view_pixel_shows_what_the_photo_shows_there(side: str) -> None:
    """A world point's place in the photo is the one the view's map gives at its view pixel."""
    points = cloud(1)
    pair = rectify_pair(*two_cameras(14.0, 60.0), points, focal_px=500.0)
    assert pair is not None
    camera = pair.first if side == "first" else pair.second
    local = pair.pose(side).apply(points)
    view = local @ pair.matrix(side).T / local[:, 2:]
    x, y = pair.photo_places_px(side)
    columns, rows = view[:, 0].astype(np.float32), view[:, 1].astype(np.float32)
    found = np.stack(
        [cv2.remap(m, columns[None], rows[None], cv2.INTER_LINEAR)[0] for m in (x, y)], axis=1
    )
    seen = (view[:, :2] > 1).all(axis=1) & (view[:, 0] < pair.width_px - 2)
    seen &= view[:, 1] < pair.height_px - 2
    assert seen.sum() > 100
    # The map is bilinear between pixels and OpenCV rounds to 1/32 px.
    np.testing.assert_allclose(found[seen], camera.project(points[seen]), atol=0.05)


def test_row_direction_is_that_of_opencv_for_the_same_pair() -> None:
    """cv2.stereoRectify also puts the baseline along the rows: compare that axis."""
    a, b = two_cameras(15.0, 100.0)
    pair = rectify_pair(a, b, cloud(), focal_px=500.0)
    assert pair is not None
    b_from_a = b.camera_from_world @ a.camera_from_world.inverse()
    r1 = cv2.stereoRectify(
        LENS.matrix(),
        LENS.distortion(),
        LENS.matrix(),
        LENS.distortion(),
        (640, 480),
        b_from_a.rotation,
        b_from_a.translation_mm[:, None],
    )[0]
    theirs = (r1 @ a.camera_from_world.rotation)[0]
    ours = pair.view_from_world[0]
    assert abs(theirs @ ours) == pytest.approx(1.0, abs=1e-9)


def test_published_depth_example() -> None:
    """Z = f B / d; the rig of a public stereo tutorial: 700 px, 0.12 m, 84 px give 1.0 m."""
    first = Camera("a", IDEAL, RigidTransform.identity())
    second = Camera("b", IDEAL, RigidTransform(np.eye(3), np.array([-120.0, 0.0, 0.0])))
    points = np.array([[0.0, 0.0, 1000.0], [60.0, 20.0, 1400.0]])
    pair = rectify_pair(first, second, points, focal_px=700.0)
    assert pair is not None
    assert pair.baseline_mm == pytest.approx(120.0)
    assert pair.depth_mm(np.array([84.0 + pair.shift_px]))[0] == pytest.approx(1000.0)


def test_cameras_one_behind_the_other_are_no_pair() -> None:
    target = np.array([0.0, 0.0, 1000.0])
    near = camera_at("near", np.array([0.0, -1000.0, 1000.0]), target, lens=LENS)
    far = camera_at("far", np.array([0.0, -1500.0, 1000.0]), target, lens=LENS)
    assert rectify_pair(near, far, cloud(), focal_px=500.0) is None


def test_a_flat_wall_is_measured_at_its_distance() -> None:
    """A patterned plane facing both cameras has one depth; matching finds it to 0.15 px.

    At f 700 px, B 120 mm, Z 1000 mm one pixel is Z^2 / (f B) = 11.9 mm. Semi-global matching pulls
    sub-pixel disparities towards whole ones by up to a tenth of a pixel.
    """
    rng = np.random.default_rng(0)
    wall = cv2.GaussianBlur(rng.uniform(0, 255, (900, 1200)), (0, 0), 3.0)
    wall = np.clip(128 + 6 * (wall - wall.mean()), 0, 255).astype(np.float32)
    distance = 1000.0
    greys = []
    for shift in (0.0, 120.0):
        u, v = np.meshgrid(np.arange(640.0), np.arange(480.0))
        x = (u - IDEAL.centre_x_px) * distance / IDEAL.focal_px + shift
        y = (v - IDEAL.centre_y_px) * distance / IDEAL.focal_px
        places = ((x + 500.0).astype(np.float32), (y + 400.0).astype(np.float32))
        greys.append(np.rint(cv2.remap(wall, *places, cv2.INTER_CUBIC)).clip(0, 255))
    first = Camera("a", IDEAL, RigidTransform.identity())
    second = Camera("b", IDEAL, RigidTransform(np.eye(3), np.array([-120.0, 0.0, 0.0])))
    corners = np.array([[x, y, z] for x in (-150, 250) for y in (-200, 200) for z in (850, 1200)])
    pair = rectify_pair(first, second, corners.astype(float), focal_px=700.0)
    assert pair is not None
    maps = match_pair(pair, *(grey.astype(np.uint8) for grey in greys))
    for one in maps:
        known = one.depth_mm[one.depth_mm > 0]
        assert len(known) > 0.5 * one.depth_mm.size
        assert abs(float(np.median(known)) - distance) < 1.8
        assert np.percentile(np.abs(known - distance), 95) < 6.0
        np.testing.assert_allclose(np.median(one.points_mm()[:, 2]), distance, atol=1.8)
