"""Cameras as the adjustment solves them: a lens and where each photo was taken from."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitkit.geometry.arrays import Floats
from fitkit.geometry.rigid import RigidTransform

__all__ = ["Camera", "Lens"]


@dataclass(frozen=True, slots=True)
class Lens:
    """Pinhole lens with radial (k1, k2) and decentring (p1, p2) distortion, square pixels.

    The distortion is OpenCV's ``(k1, k2, p1, p2)`` model. Pixel (0, 0) is the centre of
    the top-left pixel; x right, y down.
    """

    width_px: int
    height_px: int
    focal_px: float
    centre_x_px: float
    centre_y_px: float
    k1: float = 0.0
    k2: float = 0.0
    p1: float = 0.0
    p2: float = 0.0

    def matrix(self) -> Floats:
        """(3, 3) float px: the pinhole matrix."""
        return np.array(
            [
                [self.focal_px, 0.0, self.centre_x_px],
                [0.0, self.focal_px, self.centre_y_px],
                [0.0, 0.0, 1.0],
            ]
        )

    def distortion(self) -> Floats:
        """(4,) float: ``k1, k2, p1, p2``."""
        return np.array([self.k1, self.k2, self.p1, self.p2])

    def project(self, points_mm: Floats) -> Floats:
        """(N, 2) float px: images of (N, 3) points in the camera frame (z forward, in front)."""
        x, y = points_mm[:, 0] / points_mm[:, 2], points_mm[:, 1] / points_mm[:, 2]
        r2 = x * x + y * y
        radial = 1.0 + self.k1 * r2 + self.k2 * r2 * r2
        xd = x * radial + 2 * self.p1 * x * y + self.p2 * (r2 + 2 * x * x)
        yd = y * radial + self.p1 * (r2 + 2 * y * y) + 2 * self.p2 * x * y
        return np.stack(
            [self.focal_px * xd + self.centre_x_px, self.focal_px * yd + self.centre_y_px], axis=1
        )


@dataclass(frozen=True, slots=True, eq=False)
class Camera:
    """One photo's lens and pose; the camera looks along its own +z, x right, y down."""

    photo: str
    lens: Lens
    camera_from_world: RigidTransform

    def centre_mm(self) -> Floats:
        """(3,) float mm: where the camera stood, in the world."""
        return self.camera_from_world.inverse().translation_mm

    def project(self, points_mm: Floats) -> Floats:
        """(N, 2) float px: images of (N, 3) world points; meaningless for points behind."""
        return self.lens.project(self.camera_from_world.apply(points_mm))
