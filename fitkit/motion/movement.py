"""The ways in which a joint moves: axes, names in the maker's words, and where they start."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from fitkit.body.joints import Joint
from fitkit.body.side import Side
from fitkit.geometry.arrays import Floats, frozen_floats
from fitkit.motion.range_norms import NORMS

__all__ = ["Movement", "movements_of"]

_FRONT = np.array([0.0, -1.0, 0.0])
_UP = np.array([0.0, 0.0, 1.0])
_LEFT = np.array([1.0, 0.0, 0.0])
# A joint bent by more than this at rest shows its own axis; by less the axis is taken as level.
_SHOWN_BEND_RAD = np.radians(12.0)
_SAME_WAY = 0.5


@dataclass(frozen=True, slots=True, eq=False)
class Movement:
    """One way in which a joint moves.

    Attributes
    ----------
    name
        ``"left knee bend"``, ``"neck turn left"``.
    joint
        Name of the joint.
    axis
        (3,) float, unit: through the joint's centre; a positive turn about it makes the movement.
    at_rest_rad
        How far the movement has gone already in the pose the body was taken in, from the
        anatomical zero (arms hanging, limbs straight).
    kind
        Its name in :data:`fitkit.motion.range_norms.NORMS`.
    """

    name: str
    joint: str
    axis: Floats
    at_rest_rad: float
    kind: str

    def __post_init__(self) -> None:
        object.__setattr__(self, "axis", frozen_floats(self.axis, (3,), "axis"))

    def norm(self, source: str) -> tuple[str, float] | None:
        """Return whose norm holds and its range in radians; None where there is no norm.

        The source asked for, another where it is silent.
        """
        norm = NORMS.get(self.kind)
        if norm is None:
            return None
        whose = source if source in norm.by_source else next(iter(norm.by_source))
        return whose, float(np.radians(norm.by_source[whose]))


def movements_of(joints: Mapping[str, Joint]) -> dict[str, Movement]:
    """Return every movement of the joints, by name, in the order in which they combine.

    Forward and backward movements of shoulder and hip turn about the wearer's own left-right axis,
    sideways ones about the front-back axis, as they are measured.
    """
    found: dict[str, Movement] = {}
    for joint in joints.values():
        word = joint.name.split()[-1]
        rows = _MAKERS[word](joint)
        for name, axis, at_rest, kind in rows:
            full = f"{joint.name} {name}"
            found[full] = Movement(full, joint.name, axis, at_rest, f"{word} {kind}")
    return found


_Row = tuple[str, Floats, float, str]


def _trunk(joint: Joint) -> list[_Row]:
    """Neck and spine: the part above moves."""
    up = joint.bone
    rows = [
        ("bend forward", _toward(up, _FRONT), 0.0, "bend forward"),
        ("bend back", _toward(up, -_FRONT), 0.0, "bend back"),
    ]
    for side, way in (("left", _LEFT), ("right", -_LEFT)):
        rows.append((f"tilt {side}", _toward(up, way), 0.0, "tilt"))
    rows.append(("turn left", up, 0.0, "turn"))
    rows.append(("turn right", -up, 0.0, "turn"))
    return rows


def _ball(joint: Joint) -> tuple[float, float, float]:
    """Side's sign, and how far a limb is already lifted forward and sideways."""
    sign = 1.0 if joint.side is Side.LEFT else -1.0
    x, y, z = joint.bone
    return sign, float(np.arctan2(-y, -z)), float(np.arctan2(sign * x, -z))


def _shoulder(joint: Joint) -> list[_Row]:
    sign, forward, sideways = _ball(joint)
    return [
        ("lift forward", -_LEFT, forward, "lift forward"),
        ("lift back", _LEFT, -forward, "lift back"),
        ("lift sideways", sign * _FRONT, sideways, "lift sideways"),
        ("turn in", sign * joint.bone, 0.0, "turn in"),
        ("turn out", -sign * joint.bone, 0.0, "turn out"),
        ("reach across", -sign * _UP, 0.0, "reach across"),
    ]


def _hip(joint: Joint) -> list[_Row]:
    sign, forward, sideways = _ball(joint)
    return [
        ("bend", -_LEFT, forward, "bend"),
        ("stretch back", _LEFT, -forward, "stretch back"),
        ("spread", sign * _FRONT, sideways, "spread"),
        ("close", -sign * _FRONT, -sideways, "close"),
    ]


def _elbow(joint: Joint) -> list[_Row]:
    return [_bend(joint, _FRONT)]


def _knee(joint: Joint) -> list[_Row]:
    return [_bend(joint, -_FRONT)]


def _bend(joint: Joint, toward: Floats) -> _Row:
    """Return a hinge's bend: about the axis that it shows when bent, else about a level one."""
    axis = _toward(joint.bone, toward)
    shown = np.cross(joint.held_bone, joint.bone)
    size = float(np.linalg.norm(shown))
    bent = float(np.arctan2(size, joint.held_bone @ joint.bone))
    agrees = float(shown @ axis) > _SAME_WAY * size
    if bent > _SHOWN_BEND_RAD and agrees:
        return ("bend", shown / size, bent, "bend")
    return ("bend", axis, bent * float(np.sign(shown @ axis)) if size > 0 else 0.0, "bend")


def _forearm(joint: Joint) -> list[_Row]:
    # From a palm that faces the thigh, thumb forward; bent at the elbow, thumb up.
    down = joint.bone if joint.side is Side.LEFT else -joint.bone
    return [("turn palm down", down, 0.0, "turn palm down"),
            ("turn palm up", -down, 0.0, "turn palm up")]  # fmt: skip


def _wrist(joint: Joint) -> list[_Row]:
    # The palm faces the thigh when the arm hangs.
    palm = -_LEFT if joint.side is Side.LEFT else _LEFT
    return [
        ("bend", _toward(joint.bone, palm), 0.0, "bend"),
        ("bend back", _toward(joint.bone, -palm), 0.0, "bend back"),
        ("tilt to the thumb", _toward(joint.bone, _FRONT), 0.0, "tilt to the thumb"),
        ("tilt from the thumb", _toward(joint.bone, -_FRONT), 0.0, "tilt from the thumb"),
    ]


def _ankle(joint: Joint) -> list[_Row]:
    return [
        ("lift toes", _toward(joint.bone, _UP), 0.0, "lift toes"),
        ("point toes", _toward(joint.bone, -_UP), 0.0, "point toes"),
    ]


_MAKERS = {
    "neck": _trunk,
    "spine": _trunk,
    "shoulder": _shoulder,
    "elbow": _elbow,
    "forearm": _forearm,
    "wrist": _wrist,
    "hip": _hip,
    "knee": _knee,
    "ankle": _ankle,
}


def _toward(bone: Floats, way: Floats) -> Floats:
    """Return the axis about which a bone turns towards a way by the shortest way."""
    axis: Floats = np.cross(bone, way)
    return axis / np.linalg.norm(axis)
