"""Agreement of depth maps: a depth counts when maps from other pairs tell the same."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from fitkit.capture.compiled_loops import compiled, prange
from fitkit.capture.depth_map import DepthImage, DepthMap, depths_at, stack_maps
from fitkit.geometry.arrays import Floats, Ints

__all__ = ["agreeing_depths"]

_WIDEST_RAD = np.deg2rad(50.0)
_MOST_NEIGHBOURS = 10


def agreeing_depths(
    maps: Sequence[DepthMap], target_mm: Floats, *, within_mm: float = 8.0, maps_n: int = 3
) -> tuple[DepthMap, ...]:
    """Return the maps with only the depths that at least ``maps_n`` maps agree on.

    Each known pixel is carried into the nearest maps as seen from the target (at most ten,
    within 50 degrees). A map agrees when its own depth there differs by less than
    ``within_mm``. A depth that passes becomes the mean of the agreeing ones.

    Parameters
    ----------
    maps
        Depth maps of several pairs.
    target_mm
        (3,) float mm: the middle of what is measured; directions are taken from there.
    within_mm
        Largest difference of depth that still agrees.
    maps_n
        Least number of maps, the pixel's own included.
    """
    stack = stack_maps(maps)
    towards = stack.centre_mm - target_mm
    towards /= np.linalg.norm(towards, axis=1, keepdims=True)
    kept = []
    for index, one in enumerate(maps):
        cosine = towards @ towards[index]
        nearest = np.argsort(-cosine, kind="stable")
        nearest = nearest[(nearest != index) & (cosine[nearest] > np.cos(_WIDEST_RAD))]
        nearest = nearest[:_MOST_NEIGHBOURS]
        depth = _agreeing(
            one.depth_mm,
            np.asarray(np.linalg.inv(one.matrix), dtype=np.float64),
            one.view_from_world.rotation,
            stack.centre_mm[index],
            stack.depth_mm,
            stack.start[nearest],
            stack.height_px[nearest],
            stack.width_px[nearest],
            stack.projection[nearest],
            within_mm,
            maps_n,
        )
        kept.append(replace(one, depth_mm=depth))
    return tuple(kept)


@compiled
def _agreeing(
    depth_mm: DepthImage,
    ray_from_pixel: Floats,
    view_from_world: Floats,
    centre_mm: Floats,
    others: DepthImage,
    start: Ints,
    height_px: Ints,
    width_px: Ints,
    projection: Floats,
    within_mm: float,
    maps_n: int,
) -> DepthImage:
    height, width = depth_mm.shape
    kept = np.zeros((height, width), np.float32)
    turn = view_from_world
    for row in prange(height):
        for column in range(width):
            depth = depth_mm[row, column]
            if depth <= 0.0:
                continue
            a = (ray_from_pixel[0, 0] * column + ray_from_pixel[0, 2]) * depth
            b = (ray_from_pixel[1, 1] * row + ray_from_pixel[1, 2]) * depth
            x = turn[0, 0] * a + turn[1, 0] * b + turn[2, 0] * depth + centre_mm[0]
            y = turn[0, 1] * a + turn[1, 1] * b + turn[2, 1] * depth + centre_mm[1]
            z = turn[0, 2] * a + turn[1, 2] * b + turn[2, 2] * depth + centre_mm[2]
            agreeing = 1
            difference = 0.0
            for other in range(len(start)):
                found, ahead = depths_at(
                    others,
                    start[other],
                    height_px[other],
                    width_px[other],
                    projection[other],
                    x,
                    y,
                    z,
                )
                if found > 0.0 and abs(found - ahead) < within_mm:
                    agreeing += 1
                    difference += found - ahead
            if agreeing >= maps_n:
                kept[row, column] = depth + difference / agreeing
    return kept
