"""Depth maps: how far the surface is, pixel by pixel, in a rectified view."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numba import njit
from numpy.typing import NDArray

from fitkit.geometry.arrays import Floats, Ints
from fitkit.geometry.rigid import RigidTransform

__all__ = ["DepthImage", "DepthMap", "StackedMaps", "depths_at", "stack_maps"]

DepthImage: TypeAlias = NDArray[np.float32]


@dataclass(frozen=True, slots=True, eq=False)
class DepthMap:
    """Depth along the viewing axis of an undistorted view.

    Attributes
    ----------
    depth_mm
        (H, W) float32 mm along z; 0 where unknown.
    matrix
        (3, 3) float px: the view's pinhole matrix.
    view_from_world
        The view's pose.
    """

    depth_mm: DepthImage
    matrix: Floats
    view_from_world: RigidTransform

    def points_mm(self) -> Floats:
        """(N, 3) float mm: world points of the known pixels, row by row."""
        rows, columns = np.nonzero(self.depth_mm > 0)
        depth = self.depth_mm[rows, columns].astype(np.float64)
        x = (columns - self.matrix[0, 2]) / self.matrix[0, 0] * depth
        y = (rows - self.matrix[1, 2]) / self.matrix[1, 1] * depth
        return self.view_from_world.inverse().apply(np.column_stack([x, y, depth]))

    def centre_mm(self) -> Floats:
        """(3,) float mm: where the view was taken from."""
        return self.view_from_world.inverse().translation_mm

    def projection(self) -> Floats:
        """(3, 4) float: pixel from world, homogeneous."""
        pose = self.view_from_world
        return self.matrix @ np.column_stack([pose.rotation, pose.translation_mm])


@dataclass(frozen=True, slots=True, eq=False)
class StackedMaps:
    """All maps in flat arrays, as compiled loops want them.

    Attributes
    ----------
    depth_mm
        All pixels of all maps, one after the other.
    start
        (M + 1,) int: where each map begins.
    height_px, width_px
        (M,) int.
    projection
        (M, 3, 4) float: pixel from world.
    centre_mm
        (M, 3) float mm.
    """

    depth_mm: DepthImage
    start: Ints
    height_px: Ints
    width_px: Ints
    projection: Floats
    centre_mm: Floats


def stack_maps(maps: Sequence[DepthMap]) -> StackedMaps:
    """Return the maps as flat arrays."""
    sizes = [one.depth_mm.size for one in maps]
    return StackedMaps(
        np.concatenate([one.depth_mm.ravel() for one in maps]),
        np.concatenate([[0], np.cumsum(sizes)]).astype(np.int64),
        np.array([one.depth_mm.shape[0] for one in maps], dtype=np.int64),
        np.array([one.depth_mm.shape[1] for one in maps], dtype=np.int64),
        np.stack([one.projection() for one in maps]),
        np.stack([one.centre_mm() for one in maps]),
    )


@njit(cache=True)
def depths_at(
    depth_mm: DepthImage,
    first: int,
    height_px: int,
    width_px: int,
    projection: Floats,
    x: float,
    y: float,
    z: float,
) -> tuple[float, float]:
    """Return the depth a stacked map knows where it shows a world point, and the point's own.

    The first is 0 where the map knows none or does not show the point. Arguments are one map's
    entries of :class:`StackedMaps`, ``depth_mm`` that of all.
    """
    p = projection
    ahead = p[2, 0] * x + p[2, 1] * y + p[2, 2] * z + p[2, 3]
    if ahead <= 1.0:
        return 0.0, ahead
    u = (p[0, 0] * x + p[0, 1] * y + p[0, 2] * z + p[0, 3]) / ahead
    v = (p[1, 0] * x + p[1, 1] * y + p[1, 2] * z + p[1, 3]) / ahead
    i = int(np.floor(u + 0.5))
    j = int(np.floor(v + 0.5))
    if i < 0 or j < 0 or i >= width_px or j >= height_px:
        return 0.0, ahead
    return float(depth_mm[first + j * width_px + i]), ahead
