"""A point on a triangle mesh."""

from __future__ import annotations

from dataclasses import dataclass

from fitkit.geometry.arrays import Floats, frozen_floats

__all__ = ["SurfacePoint"]


@dataclass(frozen=True, slots=True, eq=False)
class SurfacePoint:
    """A point that lies in a triangle of a mesh.

    Attributes
    ----------
    point_mm
        (3,) float mm.
    face
        The triangle it lies in; on a shared edge or vertex, any of those that meet there.
    """

    point_mm: Floats
    face: int

    def __post_init__(self) -> None:
        object.__setattr__(self, "point_mm", frozen_floats(self.point_mm, (3,), "point_mm"))
        object.__setattr__(self, "face", int(self.face))
