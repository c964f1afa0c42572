"""The patterned egg swaying: photos as its floor's cameras took them, quick to render."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from fitkit.capture.camera import Camera
from fitkit.capture.photo import Photo
from fitkit.capture.scan import SolvedCameras
from tests.truth.swaying import body_camera, leanings
from tests.truth.textured_egg import egg_cameras, render

__all__ = ["TOP_MM", "SwayingEgg", "swaying_egg"]

TOP_MM = 1100.0


@dataclass(frozen=True, slots=True, eq=False)
class SwayingEgg:
    """Photos, the cameras against the floor, and the same cameras as the egg felt them."""

    photos: tuple[Photo, ...]
    solved: SolvedCameras
    body_cameras: tuple[Camera, ...]


@cache
def swaying_egg(rms_mm: float, count: int = 14) -> SwayingEgg:
    """Return the photos of the egg leaning by ``rms_mm`` at 1100 mm, about the floor below it.

    The rest of the small scene leans along; what lies below the capture volume plays no part.
    """
    cameras = egg_cameras(count)
    moves = leanings(count, rms_mm=rms_mm, height_mm=TOP_MM)
    felt = tuple(body_camera(*each) for each in zip(cameras, moves, strict=True))
    photos = tuple(
        Photo(camera.photo, render(camera, seed=7), camera.lens.focal_px, True, "egg")
        for camera in felt
    )
    return SwayingEgg(photos, SolvedCameras(cameras, (), 0.0, 0.0), felt)
