"""How the maker walks round the stand: three heights, as steady as a hand can be."""

from __future__ import annotations

import numpy as np

from fitkit.capture.camera import Camera, Lens
from fitkit.geometry.arrays import Floats
from fitkit.geometry.rigid import RigidTransform

__all__ = ["PHONE_35MM", "camera_at", "camera_walk", "phone_lens"]

PHONE_35MM = 26
"""What the phone writes into its photos; its true focal length is 1.2 % longer."""

# height, distance from the stand's axis, height aimed at (on the axis), first azimuth; mm, degrees
_RINGS = (
    (1000.0, 1400.0, 820.0, 0.0),
    (1320.0, 1310.0, 960.0, 180.0 / 11),
    (1630.0, 1210.0, 990.0, 0.0),
)


def phone_lens(width_px: int = 1512, height_px: int = 2016) -> Lens:
    """Return the studio phone's lens, held upright, scaled to a photo of that size."""
    scale = height_px / 2016.0
    return Lens(
        width_px=width_px,
        height_px=height_px,
        focal_px=1473.6 * scale,
        centre_x_px=(width_px - 1) / 2 + 6.3 * scale,
        centre_y_px=(height_px - 1) / 2 - 4.7 * scale,
        k1=0.052,
        k2=-0.061,
        p1=3.1e-4,
        p2=-2.2e-4,
    )


def camera_at(
    name: str, lens: Lens, *, centre_mm: Floats, target_mm: Floats, roll_rad: float = 0.0
) -> Camera:
    """Return a camera at a place, looking at another, upright but for the roll."""
    ahead = (target_mm - centre_mm) / np.linalg.norm(target_mm - centre_mm)
    right = np.cross(ahead, [0.0, 0.0, 1.0])
    right /= np.linalg.norm(right)
    down = np.cross(ahead, right)
    c, s = np.cos(roll_rad), np.sin(roll_rad)
    turn = np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]]) @ np.stack([right, down, ahead])
    return Camera(name, lens, RigidTransform(turn, -turn @ centre_mm))


def camera_walk(
    *,
    lens: Lens | None = None,
    photos_per_ring: int = 11,
    rings: tuple[int, ...] = (0, 1, 2),
    walk: tuple[tuple[float, float, float, float], ...] = _RINGS,
    seed: int = 26,
    name: str = "heron_{:02d}.jpg",
) -> tuple[Camera, ...]:
    """Return the cameras in the order in which the photos are taken, ring by ring.

    The middle ring is staggered by half a step, so that each photo has neighbours about 23
    degrees away above or below it. Every photo's aim is off by about 20 mm, its place
    by 25 mm and its upright by 1.2 degrees (one standard deviation).

    ``walk`` gives each ring's height, distance from the axis, height aimed at (mm) and first
    azimuth from the front (degrees, of a walk of eleven photos a ring).
    """
    rng = np.random.default_rng(seed)
    lens = lens or phone_lens()
    cameras: list[Camera] = []
    for ring in rings:
        height, distance, aim, start = walk[ring]
        start *= 11 / photos_per_ring
        for k in range(photos_per_ring):
            azimuth = np.radians(-90.0 + start + 360.0 * k / photos_per_ring)
            azimuth += rng.normal(0.0, np.radians(0.8))
            reach = distance + rng.normal(0.0, 25.0)
            centre = np.array(
                [reach * np.cos(azimuth), reach * np.sin(azimuth), height + rng.normal(0.0, 20.0)]
            )
            target = np.array([0.0, 0.0, aim]) + rng.normal(0.0, 20.0, 3)
            cameras.append(
                camera_at(
                    name.format(len(cameras) + 1),
                    lens,
                    centre_mm=centre,
                    target_mm=target,
                    roll_rad=float(rng.normal(0.0, np.radians(1.2))),
                )
            )
    return tuple(cameras)
