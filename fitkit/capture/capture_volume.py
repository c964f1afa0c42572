"""The column that is searched for the body, from where the cameras stood and looked."""

from __future__ import annotations

import numpy as np

from fitkit.capture.camera import Camera
from fitkit.capture.fineness import pixel_on_subject_mm, point_looked_at
from fitkit.capture.scan import CaptureVolume, SolvedCameras
from fitkit.errors import InputError, PhotoError
from fitkit.geometry.arrays import Bools, Floats

__all__ = [
    "column_points",
    "default_capture_volume",
    "inside_volume",
    "seen_by",
]

_LARGEST_RADIUS_MM = 700.0
_RADIUS_PER_DISTANCE = 0.5
# A floor pattern is measured to a few pixels' length; what lies lower than this is floor.
_BOTTOM_PX = 10.0
_LEAST_BOTTOM_MM, _MOST_BOTTOM_MM = 4.0, 15.0
# A camera that looks down on a subject stands nearer to its axis than to the subject.
_ACROSS = 0.7
_HIGHEST_TOP_MM = 2500.0
_HEIGHT_STEP_MM = 10.0
_VIEWS = 3


def default_capture_volume(
    solved: SolvedCameras,
    *,
    radius_mm: float | None = None,
    bottom_mm: float | None = None,
    top_mm: float | None = None,
) -> CaptureVolume:
    """Return the upright column round the point that the cameras looked at.

    The axis goes through the point nearest to all optical axes. The radius is half the
    distance of the nearest camera, at most 700 mm; the bottom is just above the plane of the
    sheets, floor or table: 15 mm, or ten pixels where the photos were taken from near; the
    top is the greatest height on the axis that three cameras see.

    Parameters
    ----------
    solved
        Cameras in the world frame (z up, floor at 0).
    radius_mm, bottom_mm, top_mm
        The maker's own values, where the defaults do not suit.

    Raises
    ------
    PhotoError
        When there are fewer than two cameras, or no height is seen by enough of them.
    InputError
        When a value given is not usable.
    """
    cameras = solved.cameras
    if len(cameras) < 2:
        raise PhotoError(
            f"Only {len(cameras)} photo could be placed; a body needs at least two.",
            "Take more photos with marker sheets in view, each 10 to 15 degrees from the last.",
        )
    middle = point_looked_at(cameras)
    x, y = middle[:2]
    if radius_mm is None:
        away = np.array([camera.centre_mm() for camera in cameras]) - middle
        across = np.hypot(away[:, 0], away[:, 1])
        distance = np.maximum(across, _ACROSS * np.linalg.norm(away, axis=1)).min()
        radius_mm = min(_LARGEST_RADIUS_MM, _RADIUS_PER_DISTANCE * float(distance))
    if bottom_mm is None:
        ten_px = _BOTTOM_PX * pixel_on_subject_mm(cameras, most_px=1008)
        bottom_mm = float(np.clip(ten_px, _LEAST_BOTTOM_MM, _MOST_BOTTOM_MM))
    top_mm = _highest_seen(cameras, x, y) if top_mm is None else top_mm
    if not (np.isfinite([radius_mm, bottom_mm, top_mm]).all() and radius_mm > 0):
        raise InputError(
            f"A capture volume of radius {radius_mm:g} mm is not usable.",
            "Give a radius above 0 mm, such as 500.",
        )
    if top_mm <= bottom_mm:
        raise InputError(
            f"The capture volume's top at {top_mm:.0f} mm is not above its bottom at "
            f"{bottom_mm:.0f} mm.",
            "Give heights above the floor with the top above the bottom.",
        )
    return CaptureVolume(float(x), float(y), float(radius_mm), float(bottom_mm), float(top_mm))


def inside_volume(volume: CaptureVolume, points_mm: Floats, *, margin_mm: float = 0.0) -> Bools:
    """(N,) bool: which of (N, 3) world points lie in the column grown by a margin."""
    x = points_mm[:, 0] - volume.centre_x_mm
    y = points_mm[:, 1] - volume.centre_y_mm
    z = points_mm[:, 2]
    inside: Bools = (
        (x * x + y * y <= (volume.radius_mm + margin_mm) ** 2)
        & (z >= volume.bottom_mm - margin_mm)
        & (z <= volume.top_mm + margin_mm)
    )
    return inside


def column_points(volume: CaptureVolume) -> Floats:
    """(N, 3) float mm: sample points through the whole column, its surface included."""
    angle = np.linspace(0.0, 2 * np.pi, 16, endpoint=False)
    circle = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    disc = np.vstack([[[0.0, 0.0]], 0.5 * circle, circle]) * volume.radius_mm
    disc += [volume.centre_x_mm, volume.centre_y_mm]
    heights = np.linspace(volume.bottom_mm, volume.top_mm, 13)
    return np.column_stack([np.tile(disc, (len(heights), 1)), np.repeat(heights, len(disc))])


def seen_by(camera: Camera, points_mm: Floats) -> Bools:
    """(N,) bool: which world points fall inside a camera's photo, what hides them left aside."""
    local = camera.camera_from_world.apply(points_mm)
    ahead = local[:, 2] > 1.0
    lens = camera.lens
    seen = np.zeros(len(points_mm), dtype=np.bool_)
    image = lens.project(local[ahead])
    # A lens model with strong distortion folds far points back into the photo.
    half_view = np.hypot(lens.width_px, lens.height_px) / lens.focal_px
    slope = np.hypot(local[ahead, 0], local[ahead, 1]) / local[ahead, 2]
    seen[ahead] = (
        (image[:, 0] >= 0)
        & (image[:, 0] <= lens.width_px - 1)
        & (image[:, 1] >= 0)
        & (image[:, 1] <= lens.height_px - 1)
        & (slope < half_view)
    )
    return seen


def _highest_seen(cameras: tuple[Camera, ...], x: float, y: float) -> float:
    heights = np.arange(0.0, _HIGHEST_TOP_MM + _HEIGHT_STEP_MM, _HEIGHT_STEP_MM)
    axis = np.column_stack([np.full_like(heights, x), np.full_like(heights, y), heights])
    views = sum(seen_by(camera, axis).astype(int) for camera in cameras)
    seen = heights[views >= min(_VIEWS, len(cameras))]
    if len(seen) == 0:
        raise PhotoError(
            "The photos do not look at a common place: no height above the floor is seen by "
            f"{min(_VIEWS, len(cameras))} of them.",
            "Walk round the body and keep it in the middle of every photo.",
        )
    return float(seen[-1])
