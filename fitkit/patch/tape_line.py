"""Laying tape lines on a form."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from fitkit.body.body import SegmentAxis
from fitkit.errors import DesignError, MeshError
from fitkit.geometry.arrays import Floats
from fitkit.geometry.geodesic import join_paths, shortest_legs
from fitkit.geometry.section import plane_sections
from fitkit.geometry.smooth_path import smooth_path
from fitkit.geometry.surface_path import SurfacePath
from fitkit.geometry.surface_point import SurfacePoint
from fitkit.patch.anchor import (
    TRUNK,
    axis_point_at_height,
    describe_anchor,
    is_limb,
    place_anchors,
)
from fitkit.patch.design import (
    GeodesicLine,
    LevelLine,
    SymmetryLine,
    TapeLineDesign,
    ThroughLine,
)
from fitkit.patch.form import Form

__all__ = ["TapeLine", "lay_tape_line"]


@dataclass(frozen=True, slots=True, eq=False)
class TapeLine:
    """A tape line laid on a form."""

    name: str
    path: SurfacePath


def lay_tape_line(form: Form, design: TapeLineDesign) -> TapeLine:
    """Return the line that a design means on a form.

    A level line is the round of the section that goes about the axis, so that arms beside
    the trunk are left out. A shortest line runs leg by leg; a smooth line bends as little as
    the surface lets it. Both pass through their anchors.

    Raises
    ------
    DesignError
        When the line cannot be laid; the cause names it.
    """
    if isinstance(design, LevelLine):
        path = _level_round(form, design)
    elif isinstance(design, SymmetryLine):
        path = _symmetry_round(form, design)
    else:
        points = _distinct_points(form, design)
        try:
            if isinstance(design, GeodesicLine):
                legs = shortest_legs(form.mesh, points, closed=design.closed)
                path = join_paths(legs, closed=design.closed)
            else:
                path = smooth_path(form.mesh, points, closed=design.closed)
        except MeshError as error:
            raise DesignError(
                f"The line '{design.name}' cannot be laid: {error.cause}", error.remedy
            ) from error
    return TapeLine(design.name, path)


def _distinct_points(form: Form, design: GeodesicLine | ThroughLine) -> tuple[SurfacePoint, ...]:
    """Place the anchors of a line and refuse those that follow each other at one place."""
    needed = 3 if design.closed else 2
    if len(design.through) < needed:
        raise DesignError(
            f"The line '{design.name}' has {len(design.through)} anchors and needs {needed}.",
            "Add anchors for it to run through.",
        )
    try:
        points = place_anchors(form, design.through)
    except DesignError as error:
        raise DesignError(f"On the line '{design.name}': {error.cause}", error.remedy) from error
    followers = [*range(1, len(points)), 0] if design.closed else range(1, len(points))
    for i, j in enumerate(followers):
        if np.linalg.norm(points[i].point_mm - points[j].point_mm) < 0.01:
            raise DesignError(
                f"The line '{design.name}' has two anchors at one place: "
                f"{describe_anchor(design.through[i])} and {describe_anchor(design.through[j])}.",
                "Leave one of them out, or move it.",
            )
    return points


def _level_round(form: Form, design: LevelLine) -> SurfacePath:
    axis = form.body.axis(design.axis)
    if (design.height_mm is None) == (design.along is None):
        raise DesignError(
            f"The level line '{design.name}' needs either a height or a place along its axis.",
            "Give height_mm for the trunk, along for any other axis.",
        )
    if design.height_mm is not None:
        if axis.name != TRUNK:
            raise DesignError(
                f"The level line '{design.name}' gives a height on the {axis.name}.",
                "Give along instead, from 0 at the body to 1 at the free end.",
            )
        point = axis_point_at_height(axis, design.height_mm, f"The level line '{design.name}'")
        up = np.array([0.0, 0.0, 1.0])
    else:
        along = float(design.along or 0.0)
        if not 0.0 <= along <= 1.0:
            raise DesignError(
                f"The level line '{design.name}' is at {along:g} along the {axis.name}, "
                "beyond its ends.",
                "Give a place from 0 (at the body) to 1 (at its free end).",
            )
        point = axis.point_at_mm(along)
        up = -axis.direction
    cos, sin = math.cos(design.tilt_rad), math.sin(design.tilt_rad)
    # A turn about the left-right direction (+x) that takes the front (-y) down.
    normal = np.array([up[0], cos * up[1] - sin * up[2], sin * up[1] + cos * up[2]])
    rounds = [
        path
        for path in plane_sections(form.mesh, point, normal)
        if path.closed and _goes_about(path.points_mm, point, normal)
    ]
    if not rounds:
        raise DesignError(
            f"The level line '{design.name}' has no round about the {axis.name} there.",
            "Choose a level at which the axis is inside the body.",
        )
    chosen = max(rounds, key=SurfacePath.length_mm)
    if is_limb(axis):
        trunk = form.body.axis(TRUNK)
        crossing = _crossing(trunk, point, normal)
        if crossing is not None and _goes_about(chosen.points_mm, crossing, normal):
            raise DesignError(
                f"The level line '{design.name}' goes round the trunk as well as the {axis.name}.",
                f"Choose a place farther along the {axis.name}, where it has left the trunk.",
            )
    return chosen


def _crossing(axis: SegmentAxis, point: Floats, normal: Floats) -> Floats | None:
    """Where an axis passes through a plane, (3,) float mm."""
    drop = float((axis.end_mm - axis.start_mm) @ normal)
    along = float((point - axis.start_mm) @ normal) / drop if drop != 0 else np.inf
    return axis.point_at_mm(along) if 0.0 <= along <= 1.0 else None


def _goes_about(points: Floats, centre: Floats, normal: Floats) -> bool:
    """Whether a round in a plane turns about a point of the plane."""
    x_axis = np.cross(normal, np.eye(3)[int(np.abs(normal).argmin())])
    y_axis = np.cross(normal, x_axis)
    shift = points - centre
    angle = np.arctan2(shift @ y_axis, shift @ x_axis)
    step = np.diff(angle, append=angle[:1])
    return round(float(np.sum((step + np.pi) % (2 * np.pi) - np.pi)) / (2 * np.pi)) != 0


def _symmetry_round(form: Form, design: SymmetryLine) -> SurfacePath:
    across = np.array([1.0, 0.0, 0.0])
    rounds = [path for path in plane_sections(form.mesh, np.zeros(3), across) if path.closed]
    if not rounds:
        raise DesignError(
            f"The line '{design.name}' finds no closed round in the middle plane x = 0.",
            "Set the body upright with its middle at x = 0.",
        )
    return max(rounds, key=SurfacePath.length_mm)
