"""Girths of arms and legs, each square to the limb's own axis, and of neck base and head."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from fitkit.body.body import Body, SegmentAxis
from fitkit.body.surface_lengths import way_over_skin
from fitkit.body.tape_reading import TapeMeasure, girth_reading
from fitkit.body.taut_round import TautRound, taut_round
from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh

__all__ = ["extreme_round", "limb_girths"]

_UP = np.array([0.0, 0.0, 1.0])
# A tape at the crotch lies with its own breadth below the seat fold (common practice, no source).
_BELOW_CROTCH_MM = 20.0
# Where along forearm and lower leg the fullest and the thinnest place is looked for.
_FOREARM, _CALF, _ANKLE = (0.02, 0.6), (0.1, 0.6), (0.6, 0.98)
_NECK_BASE_MOST = 1.9
# Where between neck and crown the head is fullest; lower down the nose would count.
_ABOVE_NOSE = (0.5, 0.85)


def extreme_round(
    mesh: TriangleMesh, axis: SegmentAxis, along: Floats, *, smallest: bool
) -> tuple[TautRound, str] | None:
    """Return the round square to an axis with the smallest or greatest girth, and where."""
    rounds = [
        (one, share)
        for share in along.tolist()
        if (one := taut_round(mesh, axis.point_at_mm(share), axis.direction)) is not None
    ]
    if not rounds:
        return None
    pick = min if smallest else max
    one, share = pick(rounds, key=lambda pair: pair[0].girth_mm)
    return one, f"square to the {axis.name}, {share * axis.length_mm:.0f} mm from its upper end"


def limb_girths(body: Body) -> Iterator[TapeMeasure]:
    """Yield neck base and head, then per side forearm, elbow, wrist, thigh, knee, calf and ankle.

    What was not found on the body is left out. The neck base goes over the skin through the four
    points of the neck's base; the thigh is level, just below the crotch; the ankle is the
    smallest girth above the ankle bones.

    References
    ----------
    Definitions in the sense of ISO 8559-1:2017 (from memory).
    """
    yield from _neck_base(body)
    yield from _head(body)
    for side in ("left", "right"):
        yield from _arm(body, side)
        yield from _leg(body, side)


def _neck_base(body: Body) -> Iterator[TapeMeasure]:
    """Yield the way over the skin round the neck's base through its four points.

    Where a side point is missing, the girth in the plane through back and front stands in.
    """
    back, front = body.landmarks.get("back neck"), body.landmarks.get("front neck")
    neck = body.axes.get("neck")
    if back is None or front is None or neck is None:
        return
    thin = taut_round(body.mesh, neck.point_at_mm(0.5), neck.direction)
    if thin is None:
        return
    most = _NECK_BASE_MOST * thin.girth_mm
    names = ("back neck", "left neck", "front neck", "right neck")
    if all(name in body.landmarks for name in names):
        way = way_over_skin(body, names, closed=True)
        if way is not None and way.length_mm() < most:
            words = f"over the skin through {', '.join(names)}"
            yield TapeMeasure("neck base", "girth", way.length_mm(), way, way.points_mm, words)
        return
    normal = np.cross([1.0, 0.0, 0.0], back.at_mm - front.at_mm)
    one = taut_round(body.mesh, 0.5 * (back.at_mm + front.at_mm), normal)
    # Where the plane runs out over the shoulders it is no neck's base any more.
    if one is not None and one.girth_mm < most:
        yield girth_reading("neck base", one, "in the plane through front neck and back neck")


def _head(body: Body) -> Iterator[TapeMeasure]:
    crown, neck = body.landmarks.get("crown"), body.axes.get("neck")
    if crown is None or neck is None:
        return
    low, high = float(neck.start_mm[2]), float(crown.at_mm[2])
    levels = low + (high - low) * np.linspace(*_ABOVE_NOSE, 12)
    rounds = [
        one
        for level in levels.tolist()
        if (one := taut_round(body.mesh, np.array([0.0, neck.start_mm[1], level]), _UP)) is not None
    ]
    if rounds:
        one = max(rounds, key=lambda one: one.girth_mm)
        level_mm = float(one.centre_mm[2])
        yield girth_reading("head", one, f"level, {level_mm:.0f} mm above the floor")


def _arm(body: Body, side: str) -> Iterator[TapeMeasure]:
    forearm, arm = body.axes.get(f"{side} forearm"), body.axes.get(f"{side} arm")
    if forearm is None or arm is None:
        return
    found = extreme_round(body.mesh, forearm, np.linspace(*_FOREARM, 12), smallest=False)
    if found is not None:
        yield girth_reading(f"{side} forearm", *found)
    yield from _joint(body, f"{side} elbow", forearm.start_mm, arm, forearm)
    wrist = taut_round(body.mesh, forearm.end_mm, forearm.direction)
    if wrist is not None:
        yield girth_reading(f"{side} wrist", wrist, f"square to the {forearm.name} at the wrist")


def _leg(body: Body, side: str) -> Iterator[TapeMeasure]:
    thigh, lower = body.axes.get(f"{side} thigh"), body.axes.get(f"{side} lower leg")
    crotch = body.landmarks.get("crotch")
    if thigh is not None and crotch is not None:
        level_mm = float(crotch.at_mm[2]) - _BELOW_CROTCH_MM
        inside = np.array([thigh.start_mm[0], thigh.start_mm[1], level_mm])
        one = taut_round(body.mesh, inside, _UP)
        if one is not None:
            yield girth_reading(f"{side} thigh", one, f"level, {level_mm:.0f} mm above the floor")
    if lower is None:
        return
    yield from _joint(body, f"{side} knee", lower.start_mm, thigh or lower, lower)
    for name, reach, smallest in (("calf", _CALF, False), ("ankle", _ANKLE, True)):
        found = extreme_round(body.mesh, lower, np.linspace(*reach, 16), smallest=smallest)
        if found is not None:
            yield girth_reading(f"{side} {name}", *found)


def _joint(
    body: Body, name: str, at_mm: Floats, upper: SegmentAxis, lower: SegmentAxis
) -> Iterator[TapeMeasure]:
    """Yield the girth in the plane that halves the bend."""
    one = taut_round(body.mesh, at_mm, upper.direction + lower.direction)
    if one is not None:
        words = f"halving the bend between {upper.name} and {lower.name}"
        yield girth_reading(name, one, words)
