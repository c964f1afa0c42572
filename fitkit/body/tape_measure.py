"""Tape measures: girths and lengths as a taut tape would take them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from fitkit.body.body import Body
from fitkit.body.limb_girths import extreme_round, limb_girths
from fitkit.body.named_girth import NamedGirth, take_girth
from fitkit.body.surface_lengths import surface_lengths
from fitkit.body.tape_reading import TapeMeasure, girth_reading
from fitkit.body.taut_round import TautRound, taut_round
from fitkit.errors import InputError
from fitkit.geometry.mesh import TriangleMesh

__all__ = ["TapeMeasure", "girth_at_mm", "tape_measures"]

_UP = np.array([0.0, 0.0, 1.0])
# Where along the arm's free part the upper arm is looked for its greatest girth.
_UPPER_ARM = (0.15, 0.75)
_UPPER_ARM_LONGEST_MM = 260.0


def girth_at_mm(mesh: TriangleMesh, point_mm: ArrayLike, normal: ArrayLike) -> float:
    """Return the taut girth of the part about a point, in the plane through it.

    Parameters
    ----------
    point_mm
        (3,) float mm, inside the part meant.
    normal
        (3,) float: square to the tape's plane.

    Raises
    ------
    InputError
        When the plane misses the mesh.

    References
    ----------
    A tape spans hollows, hence the perimeter of the section's convex hull: the reading of
    ISO 20685-1 and ISO 8559-1 usual for scans (from memory).
    """
    one = taut_round(mesh, np.asarray(point_mm, float), np.asarray(normal, float))
    if one is None:
        raise InputError(
            f"The plane through {np.round(np.asarray(point_mm, float), 1).tolist()} mm "
            "misses the body.",
            "Choose a point inside the part to be measured.",
        )
    return one.girth_mm


def tape_measures(body: Body, extra: Sequence[NamedGirth] = ()) -> tuple[TapeMeasure, ...]:
    """Return the measures that the body's landmarks and axes allow, girths first.

    Chest, waist and hip are level girths of the trunk (greatest below the armpits, narrowest,
    greatest below the waist), the neck the smallest girth square to its axis, the upper arm
    the greatest square to its axis in the middle of its free part. Whole limbs have the girths
    of :func:`fitkit.body.limb_girths.limb_girths`; ``extra`` are the maker's own. Lengths
    over the surface, heights and breadths follow. What was not found on the body is left out.

    Raises
    ------
    DesignError
        When a girth of the maker's own cannot be taken.

    References
    ----------
    Definitions in the sense of ISO 8559-1:2017 and ISO 7250-1:2017, from memory.
    """
    measures: list[TapeMeasure] = []
    for level in ("chest", "waist", "hip"):
        front = body.landmarks.get(f"front {level}")
        if front is None:
            continue
        height = float(front.at_mm[2])
        inside = np.array([0.0, body.axis("trunk").start_mm[1], height])
        one = taut_round(body.mesh, inside, _UP)
        if one is not None:
            measures.append(girth_reading(level, one, f"level, {height:.0f} mm above the floor"))
    if "neck" in body.axes:
        neck = extreme_round(body.mesh, body.axes["neck"], np.linspace(0.0, 1.0, 12), smallest=True)
        if neck is not None:
            measures.append(girth_reading("neck", *neck))
    for side in ("left", "right"):
        found = _upper_arm(body, side)
        if found is not None:
            measures.append(girth_reading(f"{side} upper arm", *found))
    measures += limb_girths(body)
    measures += [take_girth(body, plan) for plan in extra]
    return (*measures, *surface_lengths(body), *_straight_measures(body))


def _upper_arm(body: Body, side: str) -> tuple[TautRound, str] | None:
    axis = body.axes.get(f"{side} arm")
    armpit = body.landmarks.get(f"{side} armpit")
    if axis is None or armpit is None:
        return None
    free = float((armpit.at_mm - axis.start_mm) @ axis.direction) / axis.length_mm
    end = min(1.0, free + _UPPER_ARM_LONGEST_MM / axis.length_mm)
    low, high = (free + share * (end - free) for share in _UPPER_ARM)
    if not low < high:
        return None
    return extreme_round(body.mesh, axis, np.linspace(low, high, 12), smallest=False)


def _straight_measures(body: Body) -> list[TapeMeasure]:
    measures = []
    for name, landmark in (
        ("stature", "crown"),
        ("neck height", "back neck"),
        ("chest height", "front chest"),
        ("waist height", "front waist"),
        ("hip height", "front hip"),
        ("crotch height", "crotch"),
        ("left knee height", "left knee"),
        ("right knee height", "right knee"),
        ("left ankle height", "left ankle"),
        ("right ankle height", "right ankle"),
    ):
        if landmark in body.landmarks:
            at = body.landmarks[landmark].at_mm
            ends = np.stack([at, at * np.array([1.0, 1.0, 0.0])])
            measures.append(
                TapeMeasure(name, "height", float(at[2]), None, ends, f"floor to {landmark}")
            )
    for name in ("shoulder", "chest", "waist", "hip"):
        sides = [body.landmarks.get(f"{side} {name}") for side in ("left", "right")]
        left, right = sides
        if left is not None and right is not None:
            ends = np.stack([left.at_mm, right.at_mm])
            measures.append(
                TapeMeasure(
                    f"{name} breadth",
                    "breadth",
                    float(np.linalg.norm(ends[0] - ends[1])),
                    None,
                    ends,
                    f"straight from left to right {name}",
                )
            )
    return measures
