"""The joints of a body: their centres, what each moves, and how far round them the skin follows."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from fitkit.body.body import Body
from fitkit.body.side import Side
from fitkit.body.taut_round import taut_round
from fitkit.errors import DesignError
from fitkit.geometry.arrays import Floats, frozen_floats

__all__ = ["Joint", "find_joints", "hip_height_mm", "with_joint_centres"]

_HIP_OF_CROTCH, _HIP_OF_SEAT = 0.320, 0.712
# How far about the seat's farthest place its profile is looked at, and in what steps.
_SEAT_REACH_MM = 40.0
_SEAT_STEP_MM = 8.0
_SEAT_BELOW = 0.2
# From the skin of the back to the middle of the spine as a share of the body's depth there, and
# how far round a joint the skin follows as a share of the limb's radius: common practice, no
# source.
_SPINE_FROM_BACK = 0.35
_BLEND = 0.9
_TRUEST_OF_ARM = 0.35


@dataclass(frozen=True, slots=True, eq=False)
class Joint:
    """One joint.

    Attributes
    ----------
    name
        ``"neck"``, ``"spine"``, ``"left shoulder"``, ``"left elbow"``, ...
    centre_mm
        (3,) float mm.
    holds, moves
        The segments on the trunk's side of it and beyond it: ``"chest"``, ``"left forearm"``.
    bone
        (3,) float, unit: which way the moved segment runs from the joint.
    held_bone
        (3,) float, unit: which way the holding segment runs towards the joint.
    blend_mm
        How far to either side of the joint the skin follows in part.
    confidence
        0 to 1.
    source
        Where the centre comes from, in words.
    """

    name: str
    centre_mm: Floats
    holds: str
    moves: str
    bone: Floats
    held_bone: Floats
    blend_mm: float
    confidence: float
    source: str

    def __post_init__(self) -> None:
        for name in ("centre_mm", "bone", "held_bone"):
            object.__setattr__(self, name, frozen_floats(getattr(self, name), (3,), name))

    @property
    def side(self) -> Side:
        """The wearer's side it is on."""
        first = self.name.split()[0]
        return Side(first) if first in ("left", "right") else Side.CENTRE


def find_joints(body: Body) -> dict[str, Joint]:
    """Return the joints that a body shows, by name, each after those nearer the trunk.

    A body that is only a part has the joints between the parts it has: a torso with upper arms has
    neck, spine and shoulders.

    References
    ----------
    Knee, ankle, elbow and wrist: the middle of the limb between the two bone ends of the joint
    (G. Wu et al., ISB recommendation on definitions of joint coordinate systems, parts I and II, J.
    Biomech. 35, 2002, and 38, 2005), here the middle of the section at the joint's landmark.
    """
    found: dict[str, Joint] = {}
    for joint in (_spine(body), _neck(body)):
        if joint is not None:
            found[joint.name] = joint
    for side in (Side.LEFT, Side.RIGHT):
        for joint in (*_arm(body, side.value), *_leg(body, side.value)):
            found[joint.name] = joint
    return found


def hip_height_mm(crotch_mm: float, seat_mm: float) -> float:
    """Return the height of a hip's centre from those of the crotch and of the seat's fullest place.

    That of the trochanter, whose tip lies about level with the centre: least squares over ANSUR II
    (2012), individual data, men and women weighing alike. It misses people's own by a standard
    deviation of 12.9 mm (men) and 12.0 mm (women); the crotch alone by 19.8 and 17.1.
    """
    return _HIP_OF_CROTCH * crotch_mm + _HIP_OF_SEAT * seat_mm


def with_joint_centres(
    joints: Mapping[str, Joint], centres_mm: Mapping[str, Floats]
) -> dict[str, Joint]:
    """Return the joints with centres, (3,) float mm each by name, where the maker puts them.

    Raises
    ------
    DesignError
        When a name is no joint of the body.
    """
    moved = dict(joints)
    for name, centre in centres_mm.items():
        if name not in moved:
            raise DesignError(
                f"This body has no joint called '{name}'.",
                f"Use one of: {', '.join(moved) or 'none found'}.",
            )
        moved[name] = replace(moved[name], centre_mm=centre, confidence=1.0, source="by hand")
    return moved


def _spine(body: Body) -> Joint | None:
    front, back = body.landmarks.get("front waist"), body.landmarks.get("back waist")
    if front is None or back is None:
        return None
    deep_mm = float(back.at_mm[1] - front.at_mm[1])
    centre = np.array([0.0, back.at_mm[1] - _SPINE_FROM_BACK * deep_mm, back.at_mm[2]])
    up = np.array([0.0, 0.0, 1.0])
    blend_mm = _BLEND * 0.5 * deep_mm
    source = "at the waist, a third of the depth from the back (practice)"
    return Joint("spine", centre, "pelvis", "chest", up, up, blend_mm, 0.4, source)


def _neck(body: Body) -> Joint | None:
    axis = body.axes.get("neck")
    if axis is None:
        return None
    radius_mm = _radius_mm(body, axis.end_mm, axis.direction, 60.0)
    centre, confidence = axis.end_mm, 0.5
    nape = body.landmarks.get("back neck")
    if nape is not None:
        # The bones lie in the rear of the neck.
        behind = float(nape.at_mm[1] - centre[1])
        centre = centre + np.array([0.0, behind - 2.0 * _SPINE_FROM_BACK * radius_mm, 0.0])
        confidence = min(0.5, nape.confidence)
    up = -axis.direction
    source = "at the neck's base, a third of its depth from the nape (practice)"
    return Joint("neck", centre, "chest", "head", up, up, radius_mm, confidence, source)


def _arm(body: Body, side: str) -> list[Joint]:
    arm, forearm = body.axes.get(f"{side} arm"), body.axes.get(f"{side} forearm")
    made = []
    if arm is not None and f"{side} armpit" in body.landmarks:
        radius_mm = _radius_mm(body, arm.point_at_mm(0.5), arm.direction, 48.0)
        upper = arm.direction
        centre = arm.start_mm + radius_mm * upper
        source = "on the arm's middle, its own radius below the skin of the shoulder"
        if forearm is not None:
            # A line fitted to the sections leans with the forearm; it is truest in its upper half.
            elbow_mm = float((forearm.start_mm - arm.start_mm) @ arm.direction)
            sure = arm.start_mm + _TRUEST_OF_ARM * elbow_mm * arm.direction
            upper = _unit(forearm.start_mm - sure)
            centre = sure + float((centre - sure) @ upper) * upper
        inward = np.array([1.0 if side == "left" else -1.0, 0.0, 0.0])
        made.append(
            Joint(f"{side} shoulder", centre, "chest", f"{side} upper arm", upper, inward,
                  radius_mm, 0.6, source)
        )  # fmt: skip
    if forearm is None:
        return made
    upper = arm.direction if arm is not None else forearm.direction
    if made:
        upper = made[0].bone
    along = forearm.direction
    for name, centre, holds, moves, held in (
        ("elbow", forearm.start_mm, "upper arm", "forearm", upper),
        ("forearm", forearm.point_at_mm(0.5), "forearm", "wrist", along),
        ("wrist", forearm.end_mm, "wrist", "hand", along),
    ):
        made.append(_hinge(body, side, name, centre, holds, moves, along, held))
    return made


def _leg(body: Body, side: str) -> list[Joint]:
    thigh, lower = body.axes.get(f"{side} thigh"), body.axes.get(f"{side} lower leg")
    made = []
    crotch = body.landmarks.get("crotch")
    if thigh is not None and crotch is not None and _has_seat(body, float(crotch.at_mm[2])):
        floor_mm = float(body.mesh.vertices[:, 2].min())
        crotch_mm = float(crotch.at_mm[2])
        seat_mm = _seat_mm(body, crotch_mm, abs(float(thigh.start_mm[0])))
        height_mm = floor_mm + hip_height_mm(crotch_mm - floor_mm, seat_mm - floor_mm)
        up = -thigh.direction
        centre = thigh.start_mm + up * (height_mm - thigh.start_mm[2]) / up[2]
        down = _unit(thigh.end_mm - centre)
        radius_mm = _radius_mm(body, thigh.start_mm, thigh.direction, 85.0)
        source = "on the thigh's middle, as high as the survey puts it by crotch and seat"
        made.append(
            Joint(f"{side} hip", centre, "pelvis", f"{side} thigh", down, np.array([0.0, 0, -1.0]),
                  radius_mm, 0.5, source)
        )  # fmt: skip
    if lower is None:
        return made
    upper = thigh.direction if thigh is not None else lower.direction
    if made:
        upper = made[0].bone
    made.append(
        _hinge(body, side, "knee", lower.start_mm, "thigh", "lower leg", lower.direction, upper)
    )
    toes = _unit(np.array([0.0, -1.0, -0.3]))
    made.append(
        _hinge(body, side, "ankle", lower.end_mm, "lower leg", "foot", toes, lower.direction)
    )
    return made


def _seat_top_mm(body: Body, crotch_mm: float) -> float:
    """Return the height below which the seat lies for sure, waist or none."""
    return crotch_mm + _SEAT_BELOW * (crotch_mm - float(body.mesh.vertices[:, 2].min()))


def _has_seat(body: Body, crotch_mm: float) -> bool:
    """Tell whether the body goes on above its legs."""
    return float(body.mesh.vertices[:, 2].max()) > _seat_top_mm(body, crotch_mm)


def _seat_mm(body: Body, crotch_mm: float, aside_mm: float) -> float:
    """Return the height at which the seat stands out farthest behind, its profile evened out.

    Looked for from the crotch up, no farther aside than the thighs' middles reach.
    """
    points = body.mesh.vertices
    top_mm = _seat_top_mm(body, crotch_mm)
    behind = points[
        (points[:, 2] > crotch_mm) & (points[:, 2] < top_mm) & (np.abs(points[:, 0]) < aside_mm)
    ]
    height = np.arange(crotch_mm, top_mm, _SEAT_STEP_MM)
    near = np.abs(behind[:, 2] - height[:, np.newaxis]) < 1.5 * _SEAT_STEP_MM
    outmost = np.where(near, behind[:, 1], -np.inf).max(axis=1)
    top = float(height[outmost.argmax()])
    about = np.isfinite(outmost) & (np.abs(height - top) <= _SEAT_REACH_MM)
    if about.sum() < 3:
        return top
    bend, slope, _ = np.polyfit(height[about] - top, outmost[about], 2)
    if bend >= 0:
        return top
    return top + float(np.clip(-0.5 * slope / bend, -_SEAT_REACH_MM, _SEAT_REACH_MM))


def _hinge(
    body: Body, side: str, name: str, centre: Floats, holds: str, moves: str, bone: Floats,
    held: Floats,
) -> Joint:  # fmt: skip
    own = f"{side} {name}"
    mark = body.landmarks.get(own)
    radius_mm = _radius_mm(body, centre, held, 40.0)
    return Joint(
        own,
        centre,
        f"{side} {holds}",
        f"{side} {moves}",
        bone,
        held,
        _BLEND * radius_mm,
        0.5 if mark is None else mark.confidence,
        "the middle of the limb" if mark is None else "the middle of the limb at its landmark",
    )


def _radius_mm(body: Body, point: Floats, direction: Floats, usual_mm: float) -> float:
    """Return the radius of the round that has a section's girth; the usual one without any."""
    one = taut_round(body.mesh, point, direction)
    if one is None or one.girth_mm > 4.0 * np.pi * usual_mm:
        return usual_mm
    return one.girth_mm / (2.0 * np.pi)


def _unit(way: Floats) -> Floats:
    unit: Floats = way / np.linalg.norm(way)
    return unit
