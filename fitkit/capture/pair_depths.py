"""Depth maps of all chosen pairs of photos, at one size."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import cv2
import numpy as np

from fitkit.capture.camera import Camera
from fitkit.capture.depth_map import DepthMap
from fitkit.capture.stereo_matching import match_pair
from fitkit.capture.stereo_pair import rectify_pair
from fitkit.geometry.arrays import Bytes, Floats

__all__ = ["pair_depths", "reduced_grey"]

_DEPTH_MARGIN_MM = 30.0
_FAR_FACTOR = 3.0


def pair_depths(
    cameras: Sequence[Camera],
    greys: Sequence[Bytes],
    pairs: Sequence[tuple[int, int]],
    points_mm: Floats,
    longest_px: int,
    *,
    far: bool,
    say: Callable[[float], None],
) -> tuple[DepthMap, ...]:
    """Return the two depth maps of every pair that can be rectified.

    Parameters
    ----------
    cameras, greys
        (h, w) uint8, in the same order.
    pairs
        Indices of two cameras each.
    points_mm
        (N, 3) float mm: what is looked for; depths round it are searched.
    longest_px
        Photos larger than this are reduced.
    far
        True searches three times as far as the points lie, for the room behind.
    say
        Told the fraction done.
    """
    factors = [min(1.0, longest_px / max(grey.shape)) for grey in greys]
    reduced = [reduced_grey(grey, factor) for grey, factor in zip(greys, factors, strict=True)]
    maps: list[DepthMap] = []
    for done, (i, j) in enumerate(pairs):
        focal = min(factors[i] * cameras[i].lens.focal_px, factors[j] * cameras[j].lens.focal_px)
        reach = np.linalg.norm(cameras[i].centre_mm() - points_mm.mean(axis=0))
        pair = rectify_pair(
            cameras[i],
            cameras[j],
            points_mm,
            focal_px=focal,
            depth_margin_mm=_DEPTH_MARGIN_MM,
            far_mm=_FAR_FACTOR * float(reach) if far else None,
        )
        if pair is not None:
            swapped = pair.first is not cameras[i]
            first, second = (j, i) if swapped else (i, j)
            maps += match_pair(pair, reduced[first], reduced[second])
        say((done + 1) / len(pairs))
    return tuple(maps)


def reduced_grey(grey: Bytes, factor: float) -> Bytes:
    """Return (h, w) uint8 reduced by a factor; one near 1 leaves it as it is."""
    if factor > 0.95:
        return grey
    smaller = cv2.resize(grey, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA)
    return np.asarray(smaller, dtype=np.uint8)
