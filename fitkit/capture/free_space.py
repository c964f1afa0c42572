"""Free space: what the depth maps look straight through cannot be body."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from fitkit.capture.compiled_loops import compiled, prange
from fitkit.capture.depth_map import DepthImage, DepthMap, depths_at, stack_maps
from fitkit.geometry.arrays import Floats, Ints

__all__ = ["seen_through"]


def seen_through(maps: Sequence[DepthMap], points_mm: Floats, *, margin_mm: float = 25.0) -> Ints:
    """(N,) int: how many maps know a surface clearly behind each of (N, 3) world points.

    Parameters
    ----------
    maps
        Depth maps that were checked for agreement.
    points_mm
        Places to judge.
    margin_mm
        How far behind the point the surface has to be.
    """
    stack = stack_maps(maps)
    return np.asarray(
        _votes(
            np.ascontiguousarray(points_mm),
            stack.depth_mm,
            stack.start,
            stack.height_px,
            stack.width_px,
            stack.projection,
            margin_mm,
        )
    )


@compiled
def _votes(
    points_mm: Floats,
    depth_mm: DepthImage,
    start: Ints,
    height_px: Ints,
    width_px: Ints,
    projection: Floats,
    margin_mm: float,
) -> Ints:
    votes = np.zeros(len(points_mm), np.int64)
    for index in prange(len(points_mm)):
        x, y, z = points_mm[index]
        count = 0
        for one in range(len(height_px)):
            found, ahead = depths_at(
                depth_mm, start[one], height_px[one], width_px[one], projection[one], x, y, z
            )
            if found > ahead + margin_mm:
                count += 1
        votes[index] = count
    return votes
