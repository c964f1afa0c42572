"""A line drawn exactly on a triangle mesh."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitkit.errors import ShapeError
from fitkit.geometry.arrays import Floats, Ints, frozen_floats, frozen_ints
from fitkit.geometry.surface_point import SurfacePoint

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

    @property
    def round_points_mm(self) -> Floats:
        """(S + 1, 3) float mm: the points, the first repeated at the end of a closed path."""
        if not self.closed:
            return self.points_mm
        points: Floats = np.vstack([self.points_mm, self.points_mm[:1]])
        return points

    def length_mm(self) -> float:
        """Return the length, the closing segment included."""
        return float(np.linalg.norm(np.diff(self.round_points_mm, axis=0), axis=1).sum())

    def point_at(self, arc_mm: float) -> SurfacePoint:
        """Return the point at a length along the path, kept within its ends."""
        points = self.round_points_mm
        lengths = np.linalg.norm(np.diff(points, axis=0), axis=1)
        knots = np.r_[0.0, np.cumsum(lengths)]
        arc = min(max(arc_mm, 0.0), float(knots[-1]))
        i = min(int(np.searchsorted(knots, arc, side="right")) - 1, len(lengths) - 1)
        share = (arc - knots[i]) / lengths[i] if lengths[i] > 0 else 0.0
        return SurfacePoint(points[i] + share * (points[i + 1] - points[i]), int(self.faces[i]))

    def started_at(self, arc_mm: float) -> SurfacePath:
        """Return a closed path begun anew at a length along it."""
        start = self.point_at(arc_mm)
        lengths = np.linalg.norm(np.diff(self.round_points_mm, axis=0), axis=1)
        i = int(np.searchsorted(np.cumsum(lengths), arc_mm, side="right")) % len(lengths)
        points = np.vstack([start.point_mm, np.roll(self.points_mm, -i - 1, axis=0)])
        faces = np.r_[np.roll(self.faces, -i), self.faces[i]]
        moves = np.linalg.norm(np.diff(points, axis=0, append=points[:1]), axis=1) > 0
        return SurfacePath(points[moves], faces[moves], closed=True)

    def backward(self) -> SurfacePath:
        """Return the path run the other way; a closed one keeps its start."""
        if not self.closed:
            return SurfacePath(self.points_mm[::-1], self.faces[::-1])
        return SurfacePath(np.roll(self.points_mm[::-1], 1, axis=0), self.faces[::-1], closed=True)
