"""The yardstick for scans is itself held to a known motion."""

from __future__ import annotations

import numpy as np
from scipy.spatial.transform import Rotation

from fitkit.geometry.rigid import RigidTransform
from tests.truth.rigid_fit import fit_rigidly, signed_distance_mm, spread_points
from tests.truth.solids import ellipsoid, sphere


def test_a_known_motion_is_found_and_undone() -> None:
    truth = ellipsoid((150.0, 110.0, 240.0), 12.0)
    moved_from_truth = RigidTransform(
        Rotation.from_rotvec([0.03, -0.02, 0.04]).as_matrix(), np.array([6.0, -4.0, 9.0])
    )
    points = spread_points(truth, 4000)
    pose = fit_rigidly(moved_from_truth.apply(points), truth)
    np.testing.assert_allclose(pose.apply(moved_from_truth.apply(points)), points, atol=0.01)


def test_a_larger_body_is_not_shrunk_to_fit() -> None:
    """Truth by rigid motion only: a scan 1 % too big must stay 1 % too big."""
    truth, larger = sphere(200.0, 10.0), sphere(202.0, 10.0)
    points = spread_points(larger, 4000)
    off = signed_distance_mm(fit_rigidly(points, truth).apply(points), truth)
    assert abs(float(off.mean()) - 2.0) < 0.1


def test_inside_is_negative() -> None:
    off = signed_distance_mm(np.array([[0.0, 0, 190], [0, 0, 207]]), sphere(200.0, 8.0))
    np.testing.assert_allclose(off, [-10, 7], atol=0.1)
