"""A line drawn exactly on a triangle mesh."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitkit.errors import ShapeError
from fitkit.geometry.arrays import Floats, Ints, frozen_floats, frozen_ints

__all__ = ["SurfacePath"]


@dataclass(frozen=True, slots=True, eq=False)
class SurfacePath:
    """A polyline whose every segment lies within one triangle of a mesh.

    Attributes
    ----------
    points_mm
        (N, 3) float mm, on the mesh; a closed path does not repeat its first point.
    faces
        (S,) int: the triangle in which each segment lies; S is N for a closed path, else N - 1.
    closed
        Whether a last segment joins the last point to the first.
    """

    points_mm: Floats
    faces: Ints
    closed: bool = False

    def __post_init__(self) -> None:
        points = frozen_floats(self.points_mm, (None, 3), "points_mm")
        if len(points) < 2:
            raise ShapeError("A surface path needs two points.", "Give two different points.")
        object.__setattr__(self, "points_mm", points)
        segments = len(points) if self.closed else len(points) - 1
        object.__setattr__(self, "faces", frozen_ints(self.faces, (segments,), "faces"))

    def length_mm(self) -> float:
        """Return the length, the closing segment included."""
        points = np.vstack([self.points_mm, self.points_mm[:1]]) if self.closed else self.points_mm
        return float(np.linalg.norm(np.diff(points, axis=0), axis=1).sum())
