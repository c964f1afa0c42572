"""Which photos to match with which: near enough to look alike, far enough to measure."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from fitkit.capture.camera import Camera
from fitkit.capture.capture_volume import seen_by
from fitkit.geometry.arrays import Floats

__all__ = ["choose_pairs"]

_LEAST_RAD, _BEST_RAD, _MOST_RAD = np.deg2rad([6.0, 15.0, 35.0])
_LEAST_SHARED = 0.35
_LARGEST_SCALE = 1.6


def choose_pairs(
    cameras: Sequence[Camera], points_mm: Floats, *, each: int = 2, most: int = 48
) -> tuple[tuple[int, int], ...]:
    """Return pairs of camera indices, each camera with its best partners.

    A pair is usable when the two directions from the middle of the points differ by 6 to 35
    degrees, when at least a third of the points is in both photos, and when neither camera
    is more than 1.6 times as far away as the other. Angles near 15 degrees come first:
    smaller ones measure depth badly, larger ones look too different.

    Parameters
    ----------
    cameras
        All cameras.
    points_mm
        (N, 3) float mm, world: what is to be measured.
    each
        Partners sought per camera.
    most
        Pairs returned at most; where there are more, those spread most evenly over the directions
        they look from, so that many photos of one side do not crowd out the others.
    """
    middle = points_mm.mean(axis=0)
    away = np.array([camera.centre_mm() for camera in cameras]) - middle
    distance = np.linalg.norm(away, axis=1)
    towards = away / distance[:, None]
    angle = np.arccos(np.clip(towards @ towards.T, -1.0, 1.0))
    shown = np.stack([seen_by(camera, points_mm) for camera in cameras]).astype(np.float64)
    share = shown @ shown.T / np.maximum(shown.sum(axis=1), 1.0)[:, None]
    share = np.minimum(share, share.T)
    scale = np.maximum(distance[:, None] / distance, distance / distance[:, None])
    usable = (
        (angle >= _LEAST_RAD)
        & (angle <= _MOST_RAD)
        & (share >= _LEAST_SHARED)
        & (scale <= _LARGEST_SCALE)
    )
    # Half the angle costs as much as twice the angle.
    cost = (
        np.abs(np.log(np.maximum(angle, 1e-3) / _BEST_RAD))
        + np.log(scale)
        - np.log(np.maximum(share, 1e-3))
    )
    chosen: set[tuple[int, int]] = set()
    for index in range(len(cameras)):
        partners = [j for j in np.argsort(cost[index], kind="stable") if usable[index, j]]
        chosen |= {(min(index, int(j)), max(index, int(j))) for j in partners[:each]}
    ranked = sorted(chosen, key=lambda pair: (cost[pair], pair))
    return tuple(sorted(_spread(ranked, towards, most)))


def _spread(
    ranked: Sequence[tuple[int, int]], towards: Floats, most: int
) -> Sequence[tuple[int, int]]:
    """Return the first pair, then always the one that looks from farthest off those taken."""
    if len(ranked) <= most:
        return ranked
    ways = np.array([towards[i] + towards[j] for i, j in ranked])
    ways /= np.linalg.norm(ways, axis=1, keepdims=True)
    taken = [0]
    nearest = ways @ ways[0]
    while len(taken) < most:
        nearest[taken] = 2.0
        taken.append(int(nearest.argmin()))
        nearest = np.maximum(nearest, ways @ ways[taken[-1]])
    return [ranked[k] for k in taken]
