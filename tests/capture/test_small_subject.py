"""A body shrunk to a hand: what is small is measured as finely.

A head on a table is measured in tests/journeys/test_scan_in_room, from its photos to its body.
"""

from __future__ import annotations

import numpy as np
import pytest

from fitkit.capture.camera import Camera
from fitkit.capture.reconstruct import reconstruct
from fitkit.capture.scan import CaptureVolume, SolvedCameras
from fitkit.geometry.nearest import nearest_on_mesh
from fitkit.geometry.rigid import RigidTransform
from tests.truth.textured_egg import BOTTOM_MM, VOLUME, egg_mesh, egg_scene

SMALLER = 0.3


@pytest.mark.slow
def test_a_scene_shrunk_to_three_tenths_is_measured_as_well_in_its_own_pixels() -> None:
    """The same photos with all lengths shrunk: an egg 80 mm across, to a third of its pixel.

    At the cells of a body, 4 mm, its ends would be cut flat; see tests/capture/test_reconstruct
    for the egg in its full size.
    """
    scene = egg_scene()
    cameras = tuple(
        Camera(
            camera.photo,
            camera.lens,
            RigidTransform(
                camera.camera_from_world.rotation,
                SMALLER * camera.camera_from_world.translation_mm,
            ),
        )
        for camera in scene.solved.cameras
    )
    volume = CaptureVolume(
        0.0, 0.0, SMALLER * VOLUME.radius_mm, SMALLER * BOTTOM_MM, SMALLER * VOLUME.top_mm
    )
    scan = reconstruct(scene.photos, SolvedCameras(cameras, (), 0.0, 0.0), volume)
    truth = egg_mesh().with_vertices(SMALLER * egg_mesh().vertices)
    side = scan.surface.vertices[scan.surface.vertices[:, 2] > SMALLER * (BOTTOM_MM + 6.0)]
    distance = nearest_on_mesh(truth, side)[2]
    assert np.sqrt(np.mean(distance**2)) < SMALLER * 0.5
    assert distance.max() < SMALLER * 6.0
    low, high = scan.surface.bounds_mm()
    assert low[2] == pytest.approx(SMALLER * BOTTOM_MM, abs=0.05)
    assert high[2] == pytest.approx(SMALLER * 1160.0, abs=SMALLER * 4.0)
