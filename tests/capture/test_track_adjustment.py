"""Adjusting cameras on many points: exact data come back exactly, and the belief holds the rest."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import least_squares
from scipy.spatial.transform import Rotation

from fitkit.capture.body_features import FeatureTracks, triangulated
from fitkit.capture.track_adjustment import (
    CameraBelief,
    CameraPoses,
    adjust_tracks,
    misfits_px,
)
from fitkit.geometry.arrays import Floats
from tests.capture.track_scene import PIXEL, body_points, ring, seen_from


def places() -> Floats:
    corners = [[x, y, z] for x in (-150.0, 150.0) for y in (-100.0, 100.0) for z in (800, 1450)]
    return np.array(corners, dtype=np.float64)


def shaken(poses: CameraPoses, size: float) -> CameraPoses:
    steps = np.random.default_rng(3).normal(0.0, 1.0, (len(poses.rotations), 6))
    return poses.moved(steps * np.array([4e-3] * 3 + [4.0] * 3) * size)


def test_points_come_back_from_their_sightings() -> None:
    points = body_points()
    tracks = seen_from(ring(), points)
    found = triangulated(tracks, ring().rotations, ring().shifts_mm)
    np.testing.assert_allclose(found, points, atol=1e-6)


def test_exact_sightings_bring_shaken_cameras_back_into_line() -> None:
    truth, points = ring(), body_points()
    tracks = seen_from(truth, points)
    start = shaken(truth, 1.0)
    belief = CameraBelief(start, places(), np.full(8, 1000.0))
    begun = triangulated(tracks, start.rotations, start.shifts_mm)
    poses, found = adjust_tracks(start, begun, tracks, belief, huber=1e3, max_rounds=60)
    assert np.abs(misfits_px(start, begun, tracks)).max() > 1.0
    assert np.abs(misfits_px(poses, found, tracks)).max() < 0.01
    # The shape is right but for the scale, which is the mean of what the shaken cameras say.
    spread = found - found.mean(axis=0)
    scale = np.sqrt((spread**2).sum() / ((points - points.mean(axis=0)) ** 2).sum())
    turn, off = Rotation.align_vectors(spread / scale, points - points.mean(axis=0))
    assert turn.magnitude() < 0.01
    assert off / np.sqrt(len(points)) < 0.05
    assert scale == pytest.approx(1.0, abs=3e-3)


def test_the_minimum_is_that_of_a_general_solver() -> None:
    """Reference: scipy.optimize.least_squares on the same residuals, numerical slopes."""
    truth, points = ring(4), body_points(7)
    tracks = seen_from(truth, points, noise_px=0.3)
    start = shaken(truth, 0.5)
    belief = CameraBelief(start, places(), np.linspace(2.0, 8.0, 8))
    poses, found = adjust_tracks(start, points, tracks, belief, huber=1e6, max_rounds=100)

    def residuals(unknowns: Floats) -> Floats:
        moved = start.moved(unknowns[:24].reshape(4, 6))
        misfits = misfits_px(moved, unknowns[24:].reshape(-1, 3), tracks)
        held = belief.moved_mm(moved) * np.sqrt(belief.weights())[:, None]
        return np.concatenate([misfits.ravel(), held.ravel()])

    answer = least_squares(
        residuals, np.concatenate([np.zeros(24), points.ravel()]), x_scale="jac", xtol=1e-12
    )
    np.testing.assert_allclose(found, answer.x[24:].reshape(-1, 3), atol=0.02)
    np.testing.assert_allclose(
        poses.shifts_mm, start.moved(answer.x[:24].reshape(4, 6)).shifts_mm, atol=0.05
    )


def test_a_few_wrong_sightings_hardly_pull() -> None:
    truth, points = ring(), body_points(200)
    tracks = seen_from(truth, points, noise_px=0.1)
    rays = tracks.rays.copy()
    rays[::40] += 15 * PIXEL
    spoilt = FeatureTracks(tracks.camera, tracks.point, rays, tracks.sigma, tracks.points_n)
    belief = CameraBelief(truth, places(), np.full(8, 5.0))
    poses, _ = adjust_tracks(truth, points, spoilt, belief, huber=0.3)
    off = poses.seen(places()) - truth.seen(places())
    assert np.abs(off).max() < 0.6


def test_a_camera_without_sightings_stays_where_it_is_believed() -> None:
    truth, points = ring(), body_points()
    tracks = seen_from(truth, points, noise_px=0.2)
    tracks = tracks.where(tracks.camera != 3)
    belief = CameraBelief(truth, places(), np.full(8, 5.0))
    poses, _ = adjust_tracks(truth, points, tracks, belief, huber=10.0)
    np.testing.assert_allclose(poses.shifts_mm[3], truth.shifts_mm[3], atol=1e-6)


def test_points_left_with_two_sightings_are_dropped() -> None:
    tracks = seen_from(ring(3), body_points(5))
    keep = np.ones(len(tracks.camera), dtype=np.bool_)
    keep[4] = False
    left = tracks.where(keep)
    assert left.points_n == 4
    assert len(left.camera) == 12
    np.testing.assert_array_equal(np.unique(left.point), np.arange(4))
