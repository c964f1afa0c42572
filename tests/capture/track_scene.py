"""Sightings of points by a ring of cameras, made up exactly."""

from __future__ import annotations

import numpy as np

from fitkit.capture.body_features import FeatureTracks
from fitkit.capture.track_adjustment import CameraPoses
from fitkit.geometry.arrays import Floats

PIXEL = 1.0 / 700.0


def ring(count: int = 8) -> CameraPoses:
    rotations, shifts = [], []
    for k in range(count):
        azimuth = 2 * np.pi * k / count
        centre = np.array([1300 * np.cos(azimuth), 1300 * np.sin(azimuth), 1000.0 + 150 * (k % 2)])
        ahead = np.array([0.0, 0.0, 1100.0]) - centre
        ahead /= np.linalg.norm(ahead)
        right = np.cross(ahead, [0.0, 0.0, 1.0])
        right /= np.linalg.norm(right)
        rotations.append(np.stack([right, np.cross(ahead, right), ahead]))
        shifts.append(-rotations[-1] @ centre)
    return CameraPoses(np.stack(rotations), np.stack(shifts))


def seen_from(poses: CameraPoses, points_mm: Floats, *, noise_px: float = 0.0) -> FeatureTracks:
    cameras, count = len(poses.rotations), len(points_mm)
    local = poses.seen(points_mm)
    rays = np.swapaxes(local[:, :, :2] / local[:, :, 2:], 0, 1).reshape(-1, 2)
    rays = rays + np.random.default_rng(4).normal(0.0, noise_px * PIXEL, rays.shape)
    return FeatureTracks(
        np.tile(np.arange(cameras), count),
        np.repeat(np.arange(count), cameras),
        rays,
        np.full(len(rays), PIXEL),
        count,
    )


def body_points(count: int = 60) -> Floats:
    points: Floats = np.random.default_rng(2).uniform(
        [-160, -110, 800], [160, 110, 1450], (count, 3)
    )
    return points
