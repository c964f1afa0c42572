"""Tape lines that a plane cuts: level rounds and the line down the middle."""

from __future__ import annotations

import math

import numpy as np

from fitkit.body.body import SegmentAxis
from fitkit.errors import DesignError
from fitkit.geometry.arrays import Floats
from fitkit.geometry.section import plane_sections
from fitkit.geometry.surface_path import SurfacePath
from fitkit.patch.anchor import TRUNK, axis_point_at_height, height_between_mm, is_limb
from fitkit.patch.design import LevelLine, SymmetryLine
from fitkit.patch.form import Form
from fitkit.patch.place_in_words import place_in_words

__all__ = ["level_round", "symmetry_round"]


def level_round(form: Form, design: LevelLine) -> SurfacePath:
    """Return the round of the section that goes about the axis, arms beside it left out.

    It starts at the front and runs towards the wearer's left.

    Raises
    ------
    DesignError
        When the axis does not reach there or nothing closed goes about it.
    """
    axis = form.body.axis(design.axis)
    if [design.height_mm, design.along, design.between].count(None) != 2:
        raise DesignError(
            f"The level line '{design.name}' needs either a height or a place along its axis.",
            "Give height_mm, or two landmarks it lies between, for the trunk; along for any other "
            "axis.",
        )
    height_mm = design.height_mm
    if design.between is not None:
        height_mm = height_between_mm(form.body, design.between, design.part)
    if height_mm is not None:
        if axis.name != TRUNK:
            raise DesignError(
                f"The level line '{design.name}' gives a height on the {axis.name}.",
                "Give along instead, from 0 at the body to 1 at the free end.",
            )
        point = axis_point_at_height(axis, height_mm, f"The level line '{design.name}'")
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
    paths = plane_sections(form.mesh, point, normal)
    rounds = [path for path in paths if path.closed and _goes_about(path.points_mm, point, normal)]
    if not rounds:
        broken = next((path for path in paths if not path.closed), None)
        if broken is not None:
            where = place_in_words(form.body, broken.points_mm[-1])
            raise DesignError(
                f"The level line '{design.name}' runs into a hole or over the rim {where}.",
                "Choose another level, or close the body there.",
            )
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
    front = np.array([0.0, -1.0, 0.0])
    return _started_towards(chosen, point, front - (front @ normal) * normal, normal)


def symmetry_round(form: Form, design: SymmetryLine) -> SurfacePath:
    """Return the line down the middle; it starts at the top and runs down the front.

    On a body that is open at the top or bottom it runs from rim to rim.

    Raises
    ------
    DesignError
        When the middle plane x = 0 cuts nothing, or a hole interrupts the line.
    """
    across = np.array([1.0, 0.0, 0.0])
    paths = plane_sections(form.mesh, np.zeros(3), across)
    rounds = [path for path in paths if path.closed]
    if rounds:
        chosen = max(rounds, key=SurfacePath.length_mm)
        middle = 0.5 * (chosen.points_mm.min(axis=0) + chosen.points_mm.max(axis=0))
        return _started_towards(chosen, middle, np.array([0.0, 0.0, 1.0]), across)
    if len(paths) > 1:
        where = place_in_words(form.body, paths[1].points_mm[0])
        raise DesignError(
            f"The line '{design.name}' is interrupted by a hole {where}.",
            "Close the body there, or draw the line through points.",
        )
    if not paths:
        raise DesignError(
            f"The line '{design.name}' finds no closed round in the middle plane x = 0.",
            "Set the body upright with its middle at x = 0.",
        )
    (path,) = paths
    # From the front's rim to the back's.
    return path if path.points_mm[0, 1] <= path.points_mm[-1, 1] else path.backward()


def _started_towards(
    path: SurfacePath, centre: Floats, towards: Floats, normal: Floats
) -> SurfacePath:
    """Begin a plane round where it lies farthest out in one direction from a centre.

    The section runs counter-clockwise about the plane's normal, which for a level is from the
    front to the wearer's left and for the middle plane from the top down the front.
    """
    points = path.round_points_mm - centre
    aside = points @ np.cross(normal, towards)
    ahead = points @ towards
    cuts = np.flatnonzero((aside[:-1] < 0) != (aside[1:] < 0))
    best_arc, best = 0.0, -np.inf
    arcs = np.r_[0.0, np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))]
    for i in cuts.tolist():
        share = aside[i] / (aside[i] - aside[i + 1])
        reach = ahead[i] + share * (ahead[i + 1] - ahead[i])
        if reach > best:
            best, best_arc = float(reach), float(arcs[i] + share * (arcs[i + 1] - arcs[i]))
    return path.started_at(best_arc)


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
