"""The lens model is the published one."""

from __future__ import annotations

import cv2
import numpy as np
from scipy.spatial.transform import Rotation

from fitkit.capture.camera import Camera, Lens
from fitkit.geometry.rigid import RigidTransform

LENS = Lens(1512, 2016, 1530.0, 758.0, 1003.0, 0.05, -0.06, 3e-4, -2e-4)


def test_projection_agrees_with_opencv() -> None:
    """Reference library: cv2.projectPoints with (k1, k2, p1, p2)."""
    rng = np.random.default_rng(4)
    world = rng.uniform(-400, 400, (50, 3))
    pose = RigidTransform(
        Rotation.from_rotvec([0.3, -0.2, 0.1]).as_matrix(), np.array([20.0, -35.0, 1800.0])
    )
    expected, _ = cv2.projectPoints(
        world,
        cv2.Rodrigues(pose.rotation)[0],
        pose.translation_mm,
        LENS.matrix(),
        LENS.distortion(),
    )
    actual = Camera("a.jpg", LENS, pose).project(world)
    np.testing.assert_allclose(actual, expected.reshape(-1, 2), atol=1e-9)


def test_the_centre_of_a_camera_projects_from_nowhere_but_itself() -> None:
    pose = RigidTransform(
        Rotation.from_euler("xyz", [10, 20, 30], degrees=True).as_matrix(), np.array([1.0, 2, 3])
    )
    camera = Camera("a.jpg", LENS, pose)
    np.testing.assert_allclose(pose.apply(camera.centre_mm()), 0.0, atol=1e-12)
