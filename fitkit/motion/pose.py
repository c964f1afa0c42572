"""A pose: how far each joint is turned, and where skin and plates are then."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.spatial.transform import Rotation

from fitkit.body.joints import Joint
from fitkit.geometry.arrays import Floats
from fitkit.geometry.rigid import RigidTransform
from fitkit.motion.movement import Movement

__all__ = ["JointTurn", "Pose", "pose_of"]


@dataclass(frozen=True, slots=True, eq=False)
class JointTurn:
    """A joint's turn: its name, its centre (3,) float mm and the turn as a rotation vector (3,)."""

    joint: str
    centre_mm: Floats
    turn_rad: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Pose:
    """Turned joints, those farthest from the trunk first.

    All centres and axes are those of the body at rest. A point that goes with a joint by a share s
    is turned by s times its angle, first by the joint farthest out, last by that nearest the
    trunk: whole shares give rigid limbs, shares between them a skin that keeps its girth.
    """

    turns: tuple[JointTurn, ...]

    def moved(self, points: Floats, shares: Mapping[str, Floats | float]) -> Floats:
        """(N, 3) float mm: points in this pose; shares (N,) or one number by joint."""
        moved: Floats = np.array(points, dtype=np.float64)
        for turn in self.turns:
            share = shares.get(turn.joint)
            angle = float(np.linalg.norm(turn.turn_rad))
            if share is None or angle == 0.0:
                continue
            whole: Floats = np.broadcast_to(np.asarray(share, dtype=np.float64), len(moved))
            goes = np.flatnonzero(whole)
            axis = turn.turn_rad / angle
            moved[goes] = _turned(moved[goes], turn.centre_mm, axis, angle * whole[goes])
        return moved

    def carried(self, shares: Mapping[str, float]) -> RigidTransform:
        """Return the motion of what goes rigidly with the joints by given shares."""
        whole = RigidTransform.identity()
        for turn in self.turns:
            share = shares.get(turn.joint, 0.0)
            if share:
                whole = turned_about(turn.centre_mm, share * turn.turn_rad) @ whole
        return whole

    def angle_about(self, joint: str, axis: Floats) -> float:
        """Return by how much a joint is turned about an axis, radians."""
        return float(sum(turn.turn_rad @ axis for turn in self.turns if turn.joint == joint))


def turned_about(centre_mm: Floats, turn_rad: Floats) -> RigidTransform:
    """Return the turn by a rotation vector about a point."""
    rotation: Floats = Rotation.from_rotvec(turn_rad).as_matrix()
    return RigidTransform(rotation, centre_mm - rotation @ centre_mm)


def pose_of(joints: Mapping[str, Joint], turned_rad: Sequence[tuple[Movement, float]]) -> Pose:
    """Return the pose in which each movement has gone on by an angle from rest.

    Movements of one joint combine in the order given.

    Parameters
    ----------
    joints
        Each after those nearer the trunk.
    """
    by_joint: dict[str, Rotation] = {}
    for movement, angle in turned_rad:
        own = Rotation.from_rotvec(angle * movement.axis)
        by_joint[movement.joint] = own * by_joint.get(movement.joint, Rotation.identity())
    order = [name for name in joints if name in by_joint]
    return Pose(
        tuple(
            JointTurn(name, joints[name].centre_mm, by_joint[name].as_rotvec())
            for name in reversed(order)
        )
    )


def _turned(points: Floats, centre: Floats, axis: Floats, angle: Floats) -> Floats:
    """Turn points about one axis, each by its own angle (Rodrigues)."""
    arm = points - centre
    cos, sin = np.cos(angle)[..., np.newaxis], np.sin(angle)[..., np.newaxis]
    along = (arm @ axis)[:, np.newaxis] * axis
    turned: Floats = centre + along + cos * (arm - along) + sin * np.cross(axis, arm)
    return turned
