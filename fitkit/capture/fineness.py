"""How fine the photos see the subject, and what that leaves unsure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fitkit.capture.camera import Camera
from fitkit.capture.scan import CaptureVolume, SolvedCameras
from fitkit.geometry.arrays import Floats

__all__ = [
    "ExpectedError",
    "dense_scale",
    "expected_error",
    "pixel_on_subject_mm",
    "point_looked_at",
]

# The dense step's lengths suit whatever is seen at 1 mm a pixel or more in photos of about 1000 px.
_USUAL_PIXEL_MM, _USUAL_LONGEST_PX = 1.0, 1008
# A subject this small in radius is given cells in proportion, however coarse the photos.
_USUAL_RADIUS_MM = 200.0
_LEAST_SCALE = 0.2
# Root mean square distance of measured surface to the truth, in pixels of the photos as used,
# on textured subjects of the project's own studio (docs/explain/methods.md, Capture).
_SURFACE_PX = 0.45


@dataclass(frozen=True, slots=True)
class ExpectedError:
    """What the scan may be off by where it was measured, one standard deviation each.

    Attributes
    ----------
    pixel_mm
        Length of a photo's pixel on the subject.
    surface_mm
        Of a place on the surface.
    girth_mm
        Of a girth of one metre: surface and scale together.
    """

    pixel_mm: float
    surface_mm: float
    girth_mm: float


def point_looked_at(cameras: Sequence[Camera]) -> Floats:
    """(3,) float mm: the point nearest to the optical axes, by least squares."""
    left, right = np.zeros((3, 3)), np.zeros(3)
    for camera in cameras:
        axis = camera.camera_from_world.rotation[2]
        across = np.eye(3) - np.outer(axis, axis)
        left += across
        right += across @ camera.centre_mm()
    # Parallel axes leave their common direction open; the origin lies below the point
    # looked at by the world frame's definition, so a faint pull towards it decides.
    left += 1e-6 * len(cameras) * np.eye(3)
    return np.asarray(np.linalg.solve(left, right), dtype=np.float64)


def pixel_on_subject_mm(cameras: Sequence[Camera], *, most_px: int | None = None) -> float:
    """Return the length of a pixel at the point the cameras looked at, the median photo's.

    ``most_px`` takes the pixels of photos reduced to that longest side.
    """
    middle = point_looked_at(cameras)
    lengths = []
    for camera in cameras:
        longest = max(camera.lens.width_px, camera.lens.height_px)
        larger = max(1.0, longest / most_px) if most_px is not None else 1.0
        distance = float(np.linalg.norm(camera.centre_mm() - middle))
        lengths.append(distance / camera.lens.focal_px * larger)
    return float(np.median(lengths))


def dense_scale(cameras: Sequence[Camera], volume: CaptureVolume) -> float:
    """Return the factor, 0.2 to 1, by which the lengths of the dense step shrink.

    It is 1 for a body photographed whole. A small subject seen from near is worked at finer
    cells, as far as the pixels tell more.
    """
    pixel_mm = pixel_on_subject_mm(cameras, most_px=_USUAL_LONGEST_PX)
    scale = min(pixel_mm / _USUAL_PIXEL_MM, volume.radius_mm / _USUAL_RADIUS_MM)
    return float(np.clip(scale, _LEAST_SCALE, 1.0))


def expected_error(solved: SolvedCameras) -> ExpectedError:
    """Return what the scan may be off by, from the pixels' size and the scale's deviation."""
    pixel_mm = pixel_on_subject_mm(solved.cameras)
    surface_mm = _SURFACE_PX * pixel_mm
    # A girth that lies a surface error too far out is two pi of it longer; errors that change
    # along the girth cancel to about a third of that.
    girth_mm = float(np.hypot(2.0 * surface_mm, 1000.0 * solved.scale_sigma))
    return ExpectedError(pixel_mm, surface_mm, girth_mm)
