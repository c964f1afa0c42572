"""Two photos rectified: every world point falls on the same row of both views."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from fitkit.capture.camera import Camera
from fitkit.capture.capture_volume import seen_by
from fitkit.geometry.arrays import Floats
from fitkit.geometry.rigid import RigidTransform

__all__ = ["StereoPair", "rectify_pair"]

Side = Literal["first", "second"]

_EDGE_PX = 8
# Looking along the line between the cameras leaves nothing to measure across.
_LEAST_ACROSS = 0.5


@dataclass(frozen=True, slots=True, eq=False)
class StereoPair:
    """A rectified pair: both views share rotation, focal length and rows.

    The views' x axis runs from the first camera to the second, so a point at depth z has
    the disparity ``x_first - x_second = focal * baseline / z + shift``.

    Attributes
    ----------
    first, second
        The cameras.
    view_from_world
        (3, 3) float: the common rotation.
    focal_px
        Focal length of both views.
    centre_x_px
        Column of the optical axis in the first and in the second view.
    centre_y_px
        Row of the optical axis in both.
    width_px, height_px
        Size of both views.
    near_mm, far_mm
        Depths between which the surface is searched.
    """

    first: Camera
    second: Camera
    view_from_world: Floats
    focal_px: float
    centre_x_px: tuple[float, float]
    centre_y_px: float
    width_px: int
    height_px: int
    near_mm: float
    far_mm: float

    @property
    def baseline_mm(self) -> float:
        """Distance between the two cameras."""
        return float(np.linalg.norm(self.second.centre_mm() - self.first.centre_mm()))

    @property
    def shift_px(self) -> float:
        """Disparity of a point infinitely far away, from the views' different crops."""
        return self.centre_x_px[0] - self.centre_x_px[1]

    def disparity_range_px(self) -> tuple[int, int]:
        """Return the least and greatest whole disparity between far and near."""
        reach = self.focal_px * self.baseline_mm
        least = int(np.floor(reach / self.far_mm + self.shift_px)) - 1
        most = int(np.ceil(reach / self.near_mm + self.shift_px)) + 1
        return least, most

    def depth_mm(self, disparity_px: Floats) -> Floats:
        """Return depths along the views' axis: ``focal * baseline / (disparity - shift)``."""
        with np.errstate(divide="ignore"):
            depth: Floats = self.focal_px * self.baseline_mm / (disparity_px - self.shift_px)
        return depth

    def matrix(self, side: Side) -> Floats:
        """(3, 3) float px: the pinhole matrix of one view."""
        x = self.centre_x_px[0 if side == "first" else 1]
        return np.array(
            [[self.focal_px, 0.0, x], [0.0, self.focal_px, self.centre_y_px], [0.0, 0.0, 1.0]]
        )

    def pose(self, side: Side) -> RigidTransform:
        """Return ``view_from_world`` of one view."""
        centre = (self.first if side == "first" else self.second).centre_mm()
        return RigidTransform(self.view_from_world, -self.view_from_world @ centre)

    def photo_places_px(self, side: Side) -> tuple[np.ndarray, np.ndarray]:
        """Two (H, W) float32 px: column and row in the photo, distortion included, of each pixel.

        Pixels that the photo does not show get places far outside it.
        """
        camera = self.first if side == "first" else self.second
        x = (np.arange(self.width_px) - self.centre_x_px[0 if side == "first" else 1]) / (
            self.focal_px
        )
        y = (np.arange(self.height_px) - self.centre_y_px) / self.focal_px
        turn = camera.camera_from_world.rotation @ self.view_from_world.T
        rays = (x[None, :, None] * turn[:, 0] + y[:, None, None] * turn[:, 1] + turn[:, 2]).reshape(
            -1, 3
        )
        lens = camera.lens
        half_view = np.hypot(lens.width_px, lens.height_px) / lens.focal_px
        ahead = (rays[:, 2] > 1e-3) & (np.hypot(rays[:, 0], rays[:, 1]) < half_view * rays[:, 2])
        places = np.full((len(rays), 2), -1e6)
        places[ahead] = lens.project(rays[ahead])
        shape = (self.height_px, self.width_px)
        return (
            places[:, 0].reshape(shape).astype(np.float32),
            places[:, 1].reshape(shape).astype(np.float32),
        )


def rectify_pair(
    first: Camera,
    second: Camera,
    points_mm: Floats,
    *,
    focal_px: float,
    depth_margin_mm: float = 0.0,
    far_mm: float | None = None,
) -> StereoPair | None:
    """Return the pair cropped to some world points, or None when it cannot measure them.

    Parameters
    ----------
    first, second
        The cameras, in any order.
    points_mm
        (N, 3) float mm, world: what the views and the depth range have to hold; those that
        one of the photos does not show are left out.
    focal_px
        Focal length of the rectified views: sets their resolution.
    depth_margin_mm
        Added to the depth range on both sides.
    far_mm
        Greatest depth searched, where that shall be more than the points'.
    """
    shown = points_mm[seen_by(first, points_mm) & seen_by(second, points_mm)]
    between = second.centre_mm() - first.centre_mm()
    baseline = np.linalg.norm(between)
    if len(shown) == 0 or baseline < 1.0:
        return None
    x = between / baseline
    forward = first.camera_from_world.rotation[2] + second.camera_from_world.rotation[2]
    across = forward - x * (x @ forward)
    if np.linalg.norm(across) < _LEAST_ACROSS * np.linalg.norm(forward):
        return None
    z = across / np.linalg.norm(across)
    rotation = np.stack([x, np.cross(z, x), z])
    local = [(shown - camera.centre_mm()) @ rotation.T for camera in (first, second)]
    if min(part[:, 2].min() for part in local) <= 1.0:
        return None
    images = [focal_px * part[:, :2] / part[:, 2:] for part in local]
    low = [image.min(axis=0) - _EDGE_PX for image in images]
    high = [image.max(axis=0) + _EDGE_PX for image in images]
    top = min(low[0][1], low[1][1])
    height = int(np.ceil(max(high[0][1], high[1][1]) - top)) + 1
    width = int(np.ceil(max(high[0][0] - low[0][0], high[1][0] - low[1][0]))) + 1
    # Equal margins for the narrower view keep the mean disparity near zero.
    left = [0.5 * (low[k][0] + high[k][0] - (width - 1)) for k in (0, 1)]
    near = float(local[0][:, 2].min()) - depth_margin_mm
    far = float(local[0][:, 2].max()) + depth_margin_mm
    return StereoPair(
        first,
        second,
        rotation,
        float(focal_px),
        (float(-left[0]), float(-left[1])),
        float(-top),
        width,
        height,
        max(near, 1.0),
        max(far, far_mm or 0.0),
    )
