"""An egg on a turning board before a still camera, from its photos to its surface."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from fitkit.capture.capture_volume import default_capture_volume
from fitkit.capture.photo import Photo
from fitkit.capture.reconstruct import reconstruct
from fitkit.capture.solve_cameras import solve_cameras
from fitkit.capture.still_room import without_still_room
from tests.truth.rigid_fit import fit_rigidly, signed_distance_mm, spread_points
from tests.truth.turntable import turntable

# The egg's lower part looks down, away from the one height of the camera.
SEEN_ABOVE_MM = 200.0


@pytest.mark.slow
def test_an_egg_on_a_turntable_comes_out_true_whatever_the_room_shows() -> None:
    """Brick, boards and three sheets stay behind it. A pixel is 2.4 mm on the egg.

    Without the room drawn over, a phantom of it 90 mm high stood on the egg's top.
    """
    scene = turntable(20)
    photos = [
        Photo(
            camera.photo,
            cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY).astype(np.uint8),
            0.99 * camera.lens.focal_px,
            True,
            "phone",
        )
        for camera, picture in zip(scene.cameras, scene.photos, strict=True)
    ]
    solved = solve_cameras(photos, printed_mm=(180.0, 200.0))
    assert [sheet.tag_id for sheet in solved.sheets] == [0, 1, 2, 3]
    assert [finding.code for finding in solved.findings] == ["sheets-turn", "one-slant"]
    clear, remarks = without_still_room(photos)
    assert [finding.code for finding in remarks] == ["camera-stood-still"]
    scan = reconstruct(clear, solved, replace(default_capture_volume(solved), top_mm=650.0))
    points = spread_points(scan.surface, 20_000)
    points = fit_rigidly(points, scene.mesh).apply(points)
    top_mm = scene.mesh.bounds_mm()[1][2]
    assert points[:, 2].max() < top_mm + 4.0
    off = signed_distance_mm(points[points[:, 2] > SEEN_ABOVE_MM], scene.mesh)
    assert np.median(np.abs(off)) < 0.7
    assert np.sqrt((off**2).mean()) < 1.5
