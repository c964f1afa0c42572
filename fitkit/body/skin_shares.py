"""How far each vertex of the skin lies beyond each joint, smoothly."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from fitkit.body.arm_weight import arm_weight
from fitkit.body.body import Body
from fitkit.body.harmonic_share import harmonic_share, smooth_step
from fitkit.body.joints import Joint
from fitkit.body.side import Side
from fitkit.geometry.arrays import Bools, Floats

__all__ = ["skin_shares"]

_BELOW_CROTCH_MM = 40.0
_LIMB = 0.5


def skin_shares(body: Body, joints: Mapping[str, Joint]) -> dict[str, Floats]:
    """(V,) float 0..1 by joint: 0 where the skin stays, 1 where it goes with what the joint moves.

    Across elbow, wrist, knee, ankle, neck and waist the share rises over the joint's blend; the
    forearm's own turning grows evenly from elbow to wrist; over
    shoulder and hip it is the harmonic function of the surface. A joint whose limb does not
    stand clear of the body is left out.
    """
    points = body.mesh.vertices
    shares: dict[str, Floats] = {}
    arms: Floats = np.zeros(len(points))
    for side in (Side.LEFT, Side.RIGHT):
        own = side.value
        arm: Bools = np.ones(len(points), dtype=np.bool_)
        if f"{own} shoulder" in joints:
            weight = arm_weight(body, side)
            if weight is None:
                continue
            shares[f"{own} shoulder"] = weight
            arms = np.maximum(arms, weight)
            arm = weight > _LIMB
        for name in ("elbow", "wrist"):
            if f"{own} {name}" in joints:
                shares[f"{own} {name}"] = _across(points, joints[f"{own} {name}"], arm)
        if f"{own} forearm" in joints:
            elbow, wrist = (joints[f"{own} {name}"].centre_mm for name in ("elbow", "wrist"))
            # Radius turns about ulna: none of it at the elbow, all of it at the wrist.
            way = wrist - elbow
            turns = np.clip((points - elbow) @ way / (way @ way), 0.0, 1.0)
            shares[f"{own} forearm"] = np.where(arm, turns, 0.0)
    for side in (Side.LEFT, Side.RIGHT):
        own = side.value
        leg = _leg(body, side)
        if f"{own} hip" in joints:
            shares[f"{own} hip"] = _thigh(body, joints[f"{own} hip"], leg, arms)
        for name in ("knee", "ankle"):
            if f"{own} {name}" in joints:
                shares[f"{own} {name}"] = _across(points, joints[f"{own} {name}"], leg)
    if "neck" in joints:
        neck = joints["neck"]
        along = (points - neck.centre_mm) @ neck.bone
        # The shoulders reach up to the neck's base: the share rises from there up.
        share = smooth_step((along + 0.2 * neck.blend_mm) / (1.4 * neck.blend_mm))
        shares["neck"] = np.where(arms > _LIMB, 0.0, share)
    if "spine" in joints:
        spine = joints["spine"]
        height = points[:, 2] - spine.centre_mm[2]
        rising = smooth_step(0.5 + 0.5 * height / spine.blend_mm)
        shares["spine"] = np.maximum(rising, arms)
    return {name: shares[name] for name in joints if name in shares}


def _across(points: Floats, joint: Joint, limb: Bools) -> Floats:
    """Return the share across the plane that halves the angle between a joint's two bones."""
    middle = joint.bone + joint.held_bone
    middle = middle / np.linalg.norm(middle)
    along = (points - joint.centre_mm) @ middle
    share = smooth_step(0.5 + 0.5 * along / joint.blend_mm)
    return np.where(limb, share, 0.0)


def _leg(body: Body, side: Side) -> Bools:
    """Return the vertices of a leg below the crotch; all of them on a body that is a leg."""
    points = body.mesh.vertices
    crotch = body.landmarks.get("crotch")
    if crotch is None:
        return np.ones(len(points), dtype=np.bool_)
    sign = 1.0 if side is Side.LEFT else -1.0
    leg: Bools = (points[:, 2] < crotch.at_mm[2]) & (sign * points[:, 0] > 0)
    return leg


def _thigh(body: Body, hip: Joint, leg: Bools, arms: Floats) -> Floats:
    points = body.mesh.vertices
    crotch_mm = float(body.landmark("crotch").at_mm[2])
    hand = arms > _LIMB
    sure = leg & (points[:, 2] < crotch_mm - _BELOW_CROTCH_MM) & ~hand
    top_mm = float(hip.centre_mm[2]) + hip.blend_mm
    sign = 1.0 if hip.side is Side.LEFT else -1.0
    free = (points[:, 2] < top_mm) & (sign * points[:, 0] > 0) & ~sure & ~hand
    return harmonic_share(body.mesh, np.where(sure, 1.0, 0.0), free)
