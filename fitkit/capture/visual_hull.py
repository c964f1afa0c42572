"""The visual hull: the largest body that fits inside all outlines, but for a few bad ones."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from fitkit.capture.camera import Camera
from fitkit.capture.compiled_loops import compiled, prange
from fitkit.capture.photo_patches import pixel_of_ray, stack_photos
from fitkit.capture.signed_grid import GridValues, SignedGrid
from fitkit.geometry.arrays import Bools, Floats, Ints

__all__ = ["hull_grid"]


def hull_grid(
    silhouettes: Sequence[Bools],
    cameras: Sequence[Camera],
    low_mm: Floats,
    high_mm: Floats,
    *,
    cell_mm: float,
    spare: int,
) -> SignedGrid:
    """Return how far inside the outlines each node of a grid lies.

    A node's value is the least of its distances to the outlines, in the photos that show it,
    once the ``spare`` smallest were struck off; a node that no photo shows lies inside.

    Parameters
    ----------
    silhouettes, cameras
        (h, w) bool each, in the same order.
    low_mm, high_mm
        (3,) float mm: corners of the grid.
    cell_mm
        Distance between nodes.
    spare
        How many photos may be wrong about a place.

    References
    ----------
    A. Laurentini, *The visual hull concept for silhouette-based image understanding*, IEEE
    Transactions on Pattern Analysis and Machine Intelligence 16(2), 1994, doi:10.1109/34.273735.
    """
    shape = np.ceil((high_mm - low_mm) / cell_mm).astype(np.int64) + 1
    stack = stack_photos(cameras, [one.astype(np.uint8) for one in silhouettes])
    distance = np.concatenate([_signed_px(one).ravel() for one in silhouettes])
    values = _least_inside(
        shape,
        np.asarray(low_mm, dtype=np.float64),
        cell_mm,
        distance,
        stack.start,
        stack.width_px,
        stack.height_px,
        stack.camera,
        spare,
    )
    return SignedGrid(values, np.asarray(low_mm, dtype=np.float64), cell_mm)


def _signed_px(silhouette: Bools) -> NDArray[np.float32]:
    """(h, w) float32: distance to the outline, positive inside; it runs between pixels."""
    inside = silhouette.astype(np.uint8)
    within = cv2.distanceTransform(inside, cv2.DIST_L2, 5)
    beyond = cv2.distanceTransform(1 - inside, cv2.DIST_L2, 5)
    return np.asarray(np.where(silhouette, within - 0.5, 0.5 - beyond), dtype=np.float32)


@compiled
def _least_inside(
    shape: Ints,
    low_mm: Floats,
    cell_mm: float,
    distance_px: NDArray[np.float32],
    start: Ints,
    width_px: Ints,
    height_px: Ints,
    cameras: Floats,
    spare: int,
) -> GridValues:
    values = np.empty((shape[0], shape[1], shape[2]), np.float32)
    for i in prange(shape[0]):
        least = np.empty(spare + 1)
        for j in range(shape[1]):
            for k in range(shape[2]):
                least[:] = 1e3
                x = low_mm[0] + i * cell_mm
                y = low_mm[1] + j * cell_mm
                z = low_mm[2] + k * cell_mm
                for one in range(len(width_px)):
                    c = cameras[one]
                    ahead = c[6] * x + c[7] * y + c[8] * z + c[11]
                    if ahead <= 1.0:
                        continue
                    a = (c[0] * x + c[1] * y + c[2] * z + c[9]) / ahead
                    b = (c[3] * x + c[4] * y + c[5] * z + c[10]) / ahead
                    u, v = pixel_of_ray(c, a, b)
                    width, height = width_px[one], height_px[one]
                    if not (u >= 0.0 and v >= 0.0 and u < width - 1 and v < height - 1):
                        continue
                    column, row = int(u), int(v)
                    fx, fy = u - column, v - row
                    at = start[one] + row * width + column
                    upper = distance_px[at] * (1.0 - fx) + distance_px[at + 1] * fx
                    at += width
                    lower = distance_px[at] * (1.0 - fx) + distance_px[at + 1] * fx
                    found = (upper * (1.0 - fy) + lower * fy) * ahead / c[12]
                    if found >= least[spare]:
                        continue
                    # keep the smallest few, smallest first
                    for place in range(spare + 1):
                        if found < least[place]:
                            found, least[place] = least[place], found
                values[i, j, k] = least[spare]
    return values
