"""A film of a walk round a low torso as a phone takes it: slowly upward, shaken at times."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np

from fitkit.geometry.mesh import TriangleMesh
from tests.truth.camera_walk import camera_at, phone_lens
from tests.truth.mannequin import mannequin
from tests.truth.small_scene import low_scene
from tests.truth.studio import render_photo

__all__ = ["LOWERED_MM", "film_of_walk"]

LOWERED_MM = 600.0
_FRAMES, _STEP_DEG = 33, 11.5


def film_of_walk(path: Path, *, width_px: int = 378) -> TriangleMesh:
    """Write the film (MP4, 3 to 4, upright) and return the exact mesh of what it shows.

    A little more than a round; after each sharp frame one that the hand shook.
    """
    mesh = mannequin(10.0)
    mesh = mesh.with_vertices(mesh.vertices - np.array([0.0, 0.0, LOWERED_MM]))
    scene = low_scene(mesh)
    lens = phone_lens(width_px, width_px * 4 // 3)
    size = (lens.width_px, lens.height_px)
    writer = cv2.VideoWriter(str(path), cv2.VideoWriter_fourcc(*"mp4v"), 10.0, size)
    if not writer.isOpened():
        raise OSError(f"OpenCV cannot write {path}.")
    rng = np.random.default_rng(31)
    for k in range(_FRAMES):
        azimuth = np.radians(-90.0 + _STEP_DEG * k) + rng.normal(0.0, 0.01)
        # Level enough to see the flanks past the arms, high enough to see the sheets.
        height = 540.0 + 380.0 * k / (_FRAMES - 1)
        reach = 1150.0 - 80.0 * k / (_FRAMES - 1)
        centre = np.array([reach * np.cos(azimuth), reach * np.sin(azimuth), height])
        camera = camera_at(
            f"{k}",
            lens,
            centre_mm=centre + rng.normal(0.0, 12.0, 3),
            target_mm=np.array([0.0, 0.0, 330.0]) + rng.normal(0.0, 12.0, 3),
            roll_rad=float(rng.normal(0.0, 0.02)),
        )
        frame = np.ascontiguousarray(render_photo(scene, camera, seed=310 + k)[:, :, ::-1])
        writer.write(frame)
        writer.write(cv2.blur(frame, (9, 3)))
    writer.release()
    return mesh
