"""A pale ball of 100 mm radius before a wall of brown speckles, for the tests of outlines."""

from __future__ import annotations

from functools import cache

import numpy as np

from fitkit.capture.camera import Camera, Lens
from fitkit.geometry.arrays import Bytes, Floats
from tests.truth.textured_egg import camera_at

__all__ = ["RADIUS_MM", "ball_cameras", "ball_cover", "ball_picture"]

RADIUS_MM = 100.0
_LENS = Lens(180, 240, 330.0, 90.0, 120.0, k1=0.04, k2=-0.03, p1=2e-4, p2=-1e-4)


@cache
def ball_cameras(count: int = 14) -> tuple[Camera, ...]:
    """Return cameras all round a ball at the origin, by turns above and below."""
    cameras = []
    for k in range(count):
        azimuth = 2 * np.pi * k / count
        centre = np.array([800 * np.cos(azimuth), 800 * np.sin(azimuth), (220.0, -160.0)[k % 2]])
        cameras.append(camera_at(f"ball_{k:02d}.jpg", centre, np.zeros(3), lens=_LENS))
    return tuple(cameras)


def ball_cover(camera: Camera, radius_mm: float = RADIUS_MM, samples: int = 2) -> Floats:
    """(H, W) float 0..1: how much of each pixel the ball covers, by the rays' distance to it."""
    lens, inner = camera.lens, (np.arange(samples) + 0.5) / samples - 0.5
    v, u, dv, du = np.meshgrid(
        np.arange(lens.height_px), np.arange(lens.width_px), inner, inner, indexing="ij"
    )
    places = np.stack([(u + du).ravel(), (v + dv).ravel()], axis=1)
    ideal = (places - [lens.centre_x_px, lens.centre_y_px]) / lens.focal_px
    measured = ideal.copy()
    for _ in range(8):
        image = lens.project(np.column_stack([ideal, np.ones(len(ideal))]))
        ideal += measured - (image - [lens.centre_x_px, lens.centre_y_px]) / lens.focal_px
    ways = np.column_stack([ideal, np.ones(len(ideal))])
    ways /= np.linalg.norm(ways, axis=1, keepdims=True)
    centre = camera.camera_from_world.translation_mm
    off = np.linalg.norm(centre - (ways @ centre)[:, None] * ways, axis=1)
    return np.asarray((off < radius_mm).reshape(u.shape).mean(axis=(2, 3)))


@cache
def ball_picture(index: int) -> Bytes:
    """Return a pale ball, lighter above, before a wall of brown speckles."""
    camera = ball_cameras()[index]
    rng = np.random.default_rng(index)
    cover = ball_cover(camera)[:, :, None]
    wall = np.array([120.0, 90.0, 70.0]) + rng.normal(0.0, 14.0, (*cover.shape[:2], 1))
    ball = np.array([190.0, 185.0, 175.0]) - 0.2 * np.arange(cover.shape[0])[:, None, None]
    noise = rng.normal(0.0, 1.5, (*cover.shape[:2], 3))
    return np.clip(cover * ball + (1 - cover) * wall + noise, 0, 255).astype(np.uint8)
