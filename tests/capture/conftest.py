from __future__ import annotations

import pytest

from fitkit.capture.camera import Camera
from fitkit.capture.photo import Photo
from tests.capture.sheet_scene import photo_of, ring_of_cameras, sheets_on_floor


@pytest.fixture(scope="session")
def floor_photos() -> tuple[tuple[Photo, ...], tuple[Camera, ...], tuple]:
    """Ten photos of eight sheets on a floor with their true cameras and sheet poses.

    The tone curve is not the one the measuring assumes, exposures differ and the printer's
    ink ran by 0.15 mm.
    """
    sheets = sheets_on_floor()
    cameras = ring_of_cameras(per_ring=5)
    photos = [
        photo_of(
            camera,
            sheets,
            exposure=1.0 + 0.08 * (k % 3),
            blur_px=0.6 + 0.1 * (k % 3),
            ink_spread_mm=0.15,
            seed=k,
        )
        for k, camera in enumerate(cameras)
    ]
    return tuple(photos), tuple(cameras), tuple(sheets)
