"""The Heron Warden sample: recipe and truth of ``sample_scans/heron_warden``.

``python -m tests.truth.heron_warden`` renders the photos again.
"""

from __future__ import annotations

import sys
import time
from functools import lru_cache
from pathlib import Path

import numpy as np

from fitkit.capture.camera import Camera
from fitkit.geometry.mesh import TriangleMesh
from tests.truth.camera_walk import PHONE_35MM, camera_walk
from tests.truth.mannequin import mannequin, stand_parts
from tests.truth.studio import Look, Part, PlacedSheet, Scene, photo_jpeg, render_photo
from tests.truth.texture import Material
from tests.truth.workshop import floor_sheets, workshop

__all__ = ["PHOTOS", "heron_warden_photo", "heron_warden_scene", "heron_warden_truth"]

PHOTOS = Path(__file__).parents[2] / "sample_scans" / "heron_warden" / "photos"

# the mannequin's neck ends in wood
_NECK_CAP_MM = 1486.0


@lru_cache(maxsize=1)
def heron_warden_scene() -> Scene:
    """Return the mannequin in its covering, on its stand, in the workshop."""
    stand = (Part(part, Material.STEEL) for part in stand_parts())
    body = Part(mannequin(), Material.COVERING, Look(cap_above_mm=_NECK_CAP_MM))
    return Scene((body, *stand, *workshop()), floor_sheets())


def heron_warden_truth() -> tuple[TriangleMesh, tuple[Camera, ...], tuple[PlacedSheet, ...]]:
    """Return mesh, cameras and sheets as they were when the photos were taken.

    The mesh covers cap and cut surfaces too; what no photo can see is the cut at the bottom
    and the cuts of the arms from above.
    """
    return mannequin(), camera_walk(), floor_sheets()


def heron_warden_photo(number: int) -> bytes:
    """Return photo ``number`` (from 1) as a JPEG file."""
    camera = camera_walk()[number - 1]
    # the phone's own exposure is never quite the same
    exposure = float(np.exp(np.random.default_rng(900 + number).normal(0.0, 0.035)))
    rgb = render_photo(heron_warden_scene(), camera, seed=number, exposure=exposure)
    minute, second = divmod(9 * number, 60)
    return photo_jpeg(rgb, focal_35mm=PHONE_35MM, taken=f"2025:05:17 10:{minute:02d}:{second:02d}")


def main() -> None:
    """Render the whole set into the sample's folder."""
    started = time.monotonic()
    PHOTOS.mkdir(parents=True, exist_ok=True)
    cameras = camera_walk()
    wanted = [int(word) for word in sys.argv[1:]] or range(1, len(cameras) + 1)
    for number in wanted:
        data = heron_warden_photo(number)
        (PHOTOS / cameras[number - 1].photo).write_bytes(data)
        took = time.monotonic() - started
        print(f"{cameras[number - 1].photo}  {len(data) / 1e3:.0f} kB  {took:.0f} s", flush=True)


if __name__ == "__main__":
    main()
