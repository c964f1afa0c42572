"""A girth that the maker names: at a level, on a limb, or through landmarks."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitkit.body.body import Body
from fitkit.body.tape_reading import TapeMeasure, girth_reading
from fitkit.body.taut_round import taut_round
from fitkit.errors import DesignError
from fitkit.geometry.arrays import Floats

__all__ = ["NamedGirth", "take_girth"]

_UP = np.array([0.0, 0.0, 1.0])


@dataclass(frozen=True, slots=True)
class NamedGirth:
    """Where to lay the tape; exactly one of the three ways is given.

    Attributes
    ----------
    name
        What the maker calls it.
    height_mm
        Level round the trunk at this height.
    axis, along
        Round a part, square to its axis, this share of the way along, 0 to 1.
    landmarks
        In the plane through three landmarks.
    """

    name: str
    height_mm: float | None = None
    axis: str | None = None
    along: float | None = None
    landmarks: tuple[str, ...] = ()


def take_girth(body: Body, plan: NamedGirth) -> TapeMeasure:
    """Return the girth that a maker asks for.

    Raises
    ------
    DesignError
        When the body lacks what it names, the tape would meet nothing there, or three landmarks
        lie on one line.
    """
    point, normal, words = _plane(body, plan)
    one = taut_round(body.mesh, point, normal)
    if one is None:
        raise DesignError(
            f"The girth '{plan.name}' meets no part of the body.",
            "Choose a place on the body in its [[girth]] row.",
        )
    return girth_reading(plan.name, one, words)


def _plane(body: Body, plan: NamedGirth) -> tuple[Floats, Floats, str]:
    if plan.height_mm is not None:
        trunk = body.axis("trunk").start_mm
        point = np.array([trunk[0], trunk[1], plan.height_mm])
        return point, _UP, f"level, {plan.height_mm:.0f} mm above the floor"
    if plan.axis is not None and plan.along is not None:
        axis = body.axis(plan.axis)
        words = f"square to the {axis.name}, {plan.along:.0%} along"
        return axis.point_at_mm(plan.along), axis.direction, words
    if len(plan.landmarks) != 3:
        raise DesignError(
            f"The girth '{plan.name}' names {len(plan.landmarks)} landmarks.",
            "Give height_mm, or axis and along, or three landmarks.",
        )
    points = np.array([body.landmark(name).at_mm for name in plan.landmarks])
    normal = np.cross(points[1] - points[0], points[2] - points[0])
    if np.linalg.norm(normal) < 100.0:  # mm2: the three leave the plane's tilt open
        raise DesignError(
            f"The landmarks of the girth '{plan.name}' lie nearly on one line.",
            "Choose three that span a plane, such as back neck, left neck and front neck.",
        )
    return points.mean(axis=0), normal, f"through {', '.join(plan.landmarks)}"
