"""The line in which a middle plate's flat is its own mirror image."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitkit.flatten.slit_disk import FlatDisk, StraightCut
from fitkit.geometry.arrays import Floats, frozen_floats
from fitkit.geometry.nearest import nearest_on_mesh

__all__ = ["MirrorAxis", "mirror_axis"]

# A plate that the mirror puts this near to itself is meant to look alike left and right.
_ALIKE_MM = 4.0
_SHARE = 0.95
# The middle line is read off what lies this near to it, in edges.
_NEAR_EDGES = 1.0


@dataclass(frozen=True, slots=True, eq=False)
class MirrorAxis:
    """A line of the flat: a point on it and its unit direction, (2,) float mm each."""

    point_mm: Floats
    direction: Floats

    def __post_init__(self) -> None:
        object.__setattr__(self, "point_mm", frozen_floats(self.point_mm, (2,), "point_mm"))
        object.__setattr__(self, "direction", frozen_floats(self.direction, (2,), "direction"))

    def aside_mm(self, points_mm: Floats) -> Floats:
        """Return how far points (..., 2) lie to the left of it, negative to its right."""
        square = np.array([-self.direction[1], self.direction[0]])
        aside: Floats = (points_mm - self.point_mm) @ square
        return aside

    def onto(self, points_mm: Floats) -> Floats:
        """Return the nearest places on the line to points (..., 2)."""
        along = (points_mm - self.point_mm) @ self.direction
        return np.asarray(self.point_mm + along[..., None] * self.direction)

    def mirrored(self, points_mm: Floats) -> Floats:
        """Return the mirror images of points (..., 2)."""
        image: Floats = 2.0 * self.onto(points_mm) - points_mm
        return image

    def mirrored_cut(self, cut: StraightCut) -> StraightCut:
        """Return a cut on the other side."""
        return StraightCut(self.mirrored(cut.foot_mm), self.mirrored(cut.tip_mm), cut.through)


def mirror_axis(disk: FlatDisk) -> MirrorAxis | None:
    """Return the axis of a plate that is alike on both sides of the wearer's middle x = 0.

    None where it is not alike, or does not lie across the middle.
    """
    points = disk.mesh.vertices
    images = points * np.array([-1.0, 1.0, 1.0])
    _, _, away = nearest_on_mesh(disk.mesh, images)
    near = np.abs(points[:, 0]) < _NEAR_EDGES * disk.edge_mm()
    if np.quantile(np.abs(away), _SHARE) > _ALIKE_MM or near.sum() < 3:
        return None
    # Where x is 0 on the flat: the plane of x over the flat near there, its level line of 0.
    flat = disk.flat_mm[near]
    middle = flat.mean(axis=0)
    gradient, *_ = np.linalg.lstsq(
        np.column_stack([flat - middle, np.ones(len(flat))]), points[near, 0], rcond=None
    )
    slope, level = gradient[:2], gradient[2]
    square = float(slope @ slope)
    if square < 0.25:
        return None
    direction = np.array([-slope[1], slope[0]]) / np.sqrt(square)
    return MirrorAxis(middle - level * slope / square, direction)
