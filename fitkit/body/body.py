"""The body: a closed metric surface standing upright, with the axes of trunk and limbs."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

import numpy as np

from fitkit.errors import DesignError
from fitkit.findings import Finding
from fitkit.geometry.arrays import Floats, frozen_floats
from fitkit.geometry.mesh import TriangleMesh

__all__ = ["Body", "Landmark", "SegmentAxis"]


@dataclass(frozen=True, slots=True, eq=False)
class SegmentAxis:
    """The straight axis of a trunk, neck or limb, from its upper (body) end to its free end.

    Attributes
    ----------
    name
        ``"trunk"``, ``"neck"``, ``"left arm"``, ``"right arm"``, ...
    start_mm, end_mm
        (3,) float mm. The trunk runs from the top of the body straight down to its
        lowest level; an arm from the shoulder to where the arm ends.
    """

    name: str
    start_mm: Floats
    end_mm: Floats

    def __post_init__(self) -> None:
        object.__setattr__(self, "start_mm", frozen_floats(self.start_mm, (3,), "start_mm"))
        object.__setattr__(self, "end_mm", frozen_floats(self.end_mm, (3,), "end_mm"))

    @property
    def length_mm(self) -> float:
        """Distance from start to end."""
        return float(np.linalg.norm(self.end_mm - self.start_mm))

    @property
    def direction(self) -> Floats:
        """(3,) float, unit: from start to end."""
        unit: Floats = (self.end_mm - self.start_mm) / self.length_mm
        return unit

    def point_at_mm(self, along: float) -> Floats:
        """(3,) float mm: the point a fraction ``along`` of the way, 0 at start, 1 at end."""
        point: Floats = self.start_mm + along * (self.end_mm - self.start_mm)
        return point

    def bearing(self, bearing_rad: float) -> Floats:
        """(3,) float, unit, square to the axis: the direction at a bearing round it.

        Bearing 0 points to the wearer's front (-y), a quarter turn to the wearer's left
        (+x), a half turn to the back; for any axis these are tilted with it.
        """
        down = self.direction
        front = np.array([0.0, -1.0, 0.0])
        front = front - (front @ down) * down
        front /= np.linalg.norm(front)
        left = np.cross(front, down)
        unit: Floats = np.cos(bearing_rad) * front + np.sin(bearing_rad) * left
        return unit


@dataclass(frozen=True, slots=True, eq=False)
class Landmark:
    """A named point on the body. ``at_mm`` (3,) float; ``confidence`` 0 to 1."""

    name: str
    at_mm: Floats
    confidence: float = 1.0

    def __post_init__(self) -> None:
        object.__setattr__(self, "at_mm", frozen_floats(self.at_mm, (3,), "at_mm"))


@dataclass(frozen=True, slots=True, eq=False)
class Body:
    """The wearer or the stand-in.

    World: millimetres, z up, floor at z = 0, facing -y, so that the wearer's left is +x;
    the symmetry plane is x = 0.

    Attributes
    ----------
    mesh
        Closed, wound outward.
    trust_mm
        (V,) float mm: distance of each vertex from what the photos saw; 0 for a given mesh.
    axes, landmarks
        By name.
    findings
        What was noticed on the way.
    """

    mesh: TriangleMesh
    trust_mm: Floats
    axes: Mapping[str, SegmentAxis] = field(default_factory=dict)
    landmarks: Mapping[str, Landmark] = field(default_factory=dict)
    findings: tuple[Finding, ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(
            self, "trust_mm", frozen_floats(self.trust_mm, (len(self.mesh.vertices),), "trust_mm")
        )
        object.__setattr__(self, "axes", MappingProxyType(dict(self.axes)))
        object.__setattr__(self, "landmarks", MappingProxyType(dict(self.landmarks)))

    def axis(self, name: str) -> SegmentAxis:
        """Return the axis of that name.

        Raises
        ------
        DesignError
            When the body has none; the remedy lists those it has.
        """
        if name not in self.axes:
            raise DesignError(
                f"This body has no part called '{name}'.",
                f"Use one of: {', '.join(self.axes) or 'none found'}.",
            )
        return self.axes[name]

    def landmark(self, name: str) -> Landmark:
        """Return the landmark of that name.

        Raises
        ------
        DesignError
            When the body has none; the remedy lists those it has.
        """
        if name not in self.landmarks:
            raise DesignError(
                f"This body has no landmark called '{name}'.",
                f"Use one of: {', '.join(self.landmarks) or 'none found'}.",
            )
        return self.landmarks[name]
