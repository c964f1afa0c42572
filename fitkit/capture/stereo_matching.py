"""Depth maps of a rectified pair by semi-global matching, checked from both sides."""

from __future__ import annotations

import cv2
import numpy as np

from fitkit.capture.compiled_loops import compiled, prange
from fitkit.capture.depth_map import DepthImage, DepthMap
from fitkit.capture.stereo_pair import Side, StereoPair
from fitkit.geometry.arrays import Bools, Bytes

__all__ = ["match_pair"]

_BLOCK_PX = 5
_LEFT_RIGHT_PX = 1.0
_SPECKLE_PX = 60
_STEPS_PER_PX = 16  # OpenCV returns disparities in sixteenths of a pixel


def match_pair(pair: StereoPair, first: Bytes, second: Bytes) -> tuple[DepthMap, DepthMap]:
    """Return the depth maps of the first and of the second view.

    A depth is kept where matching the first view to the second and the second to the first
    give the same disparity within one pixel, and small islands are dropped.

    Parameters
    ----------
    pair
        The rectified pair.
    first, second
        The grey photos, whole or reduced in size.

    References
    ----------
    Hirschmüller 2008, Stereo processing by semiglobal matching and mutual information,
    doi:10.1109/TPAMI.2007.1166.
    """
    views = [_view(pair, "first", first), _view(pair, "second", second)]
    least, most = pair.disparity_range_px()
    disparities = _STEPS_PER_PX * int(np.ceil((most - least + 1) / _STEPS_PER_PX))
    # The matcher leaves a margin as wide as the greatest shift without an answer.
    edge = max(least + disparities, -least, 0)
    padded = [cv2.copyMakeBorder(view, 0, 0, edge, edge, cv2.BORDER_REPLICATE) for view, _ in views]
    matcher = cv2.StereoSGBM.create(
        minDisparity=least,
        numDisparities=disparities,
        blockSize=_BLOCK_PX,
        P1=8 * _BLOCK_PX**2,
        P2=32 * _BLOCK_PX**2,
        disp12MaxDiff=-1,
        preFilterCap=31,
        uniquenessRatio=5,
        mode=cv2.STEREO_SGBM_MODE_SGBM_3WAY,
    )
    unknown = _STEPS_PER_PX * (least - 1)
    from_first = matcher.compute(padded[0], padded[1])
    # Mirrored, the second view is the left one and the disparities keep their sign.
    from_second = matcher.compute(
        np.ascontiguousarray(padded[1][:, ::-1]), np.ascontiguousarray(padded[0][:, ::-1])
    )[:, ::-1]
    kept = _both_ways(from_first, np.ascontiguousarray(from_second), unknown)
    maps = []
    sides: tuple[Side, Side] = ("first", "second")
    for side, disparity, (_, shown) in zip(sides, kept, views, strict=True):
        inner = np.ascontiguousarray(disparity[:, edge : disparity.shape[1] - edge])
        inner[~shown] = unknown
        cv2.filterSpeckles(inner, unknown, _SPECKLE_PX, _STEPS_PER_PX)
        depth = pair.depth_mm(inner / float(_STEPS_PER_PX))
        known = (inner != unknown) & (depth >= pair.near_mm) & (depth <= pair.far_mm)
        image: DepthImage = np.where(known, depth, 0.0).astype(np.float32)
        maps.append(DepthMap(image, pair.matrix(side), pair.pose(side)))
    return maps[0], maps[1]


def _view(pair: StereoPair, side: Side, grey: Bytes) -> tuple[Bytes, Bools]:
    """Return one rectified view and which of its pixels the photo shows."""
    lens = (pair.first if side == "first" else pair.second).lens
    x, y = pair.photo_places_px(side)
    height, width = grey.shape
    # A reduced photo's pixel covers several: centres at (u + 1/2) / factor - 1/2.
    x = (x + 0.5) * np.float32(width / lens.width_px) - 0.5
    y = (y + 0.5) * np.float32(height / lens.height_px) - 0.5
    shown: Bools = (x >= 0) & (y >= 0) & (x <= width - 1) & (y <= height - 1)
    view = cv2.remap(grey, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(view, dtype=np.uint8), shown


@compiled
def _both_ways(
    from_first: np.ndarray, from_second: np.ndarray, unknown: int
) -> tuple[np.ndarray, np.ndarray]:
    """Keep the disparities (sixteenths of a pixel) that both directions tell."""
    height, width = from_first.shape
    first = np.full((height, width), unknown, np.int16)
    second = np.full((height, width), unknown, np.int16)
    limit = int(_LEFT_RIGHT_PX * _STEPS_PER_PX)
    for row in prange(height):
        for column in range(width):
            own = from_first[row, column]
            if own > unknown:
                aside = column - int(np.floor(own / _STEPS_PER_PX + 0.5))
                if 0 <= aside < width:
                    there = from_second[row, aside]
                    if there > unknown and abs(there - own) < limit:
                        first[row, column] = own
            own = from_second[row, column]
            if own > unknown:
                aside = column + int(np.floor(own / _STEPS_PER_PX + 0.5))
                if 0 <= aside < width:
                    there = from_first[row, aside]
                    if there > unknown and abs(there - own) < limit:
                        second[row, column] = own
    return first, second
