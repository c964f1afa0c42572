"""Taking a part out of a whole body: it stays where it is on the wearer."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from fitkit.body.body import Body, Landmark, SegmentAxis
from fitkit.body.body_part import BodyPart
from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.solid_cut import piece_at, side_of_plane, without_cylinder

__all__ = ["part_of_body"]

_UP = np.array([0.0, 0.0, 1.0])
_ARM_SHARE = 0.85
_LIMB_JOINTS = ("elbow", "wrist", "knee", "ankle", "crotch", "crown")


def part_of_body(body: Body, part: BodyPart) -> Body:
    """Return a part of a whole body, closed flat where it was cut off.

    Heights stay heights above the wearer's floor, and x = 0 the wearer's middle. The part's main
    axis is called ``trunk``, as with every body that is only a part.

    Parameters
    ----------
    body
        Whole, with arms that stand clear of it, legs and a neck.

    Raises
    ------
    DesignError
        When it lacks the landmarks between which that part lies.
    """
    if part == "whole body":
        return body
    stature = float(np.ptp(body.mesh.vertices[:, 2]))
    if part == "torso":
        arms = {f"{side} arm": _upper_arm(body, side) for side in ("left", "right")}
        mesh = _torso(body, arms.values(), stature)
        axes = {"neck": body.axis("neck"), **arms}
        marks = [name for name in body.landmarks if name.split()[-1] not in _LIMB_JOINTS]
    elif part == "head":
        base = np.array([0.0, 0.0, body.landmark("left neck").at_mm[2]])
        above = side_of_plane(body.mesh, base, _UP)
        mesh = piece_at(above, body.landmark("crown").at_mm)
        axes = {"neck": body.axis("neck")}
        marks = ["crown", "back neck", "left neck", "right neck"]
    else:
        mesh, axes, marks = _limb(body, part, stature)
    trunk = _main_axis(mesh)
    landmarks = {name: body.landmarks[name] for name in marks if name in body.landmarks}
    landmarks |= {
        "top": Landmark("top", trunk.start_mm),
        "bottom": Landmark("bottom", trunk.end_mm),
    }
    return Body(
        mesh,
        np.full(len(mesh.vertices), float(body.trust_mm.max())),
        {"trunk": trunk, **axes},
        landmarks,
        body.findings,
    )


def _torso(body: Body, arms: Iterable[SegmentAxis], stature: float) -> TriangleMesh:
    low = body.landmark("crotch").at_mm - 0.01 * stature * _UP
    # Square to the neck, so that it is cut below the chin.
    neck = body.axis("neck")
    mesh = side_of_plane(body.mesh, neck.start_mm - 3.0 * neck.direction, neck.direction)
    mesh = side_of_plane(mesh, low, _UP)
    for arm in arms:
        mesh = without_cylinder(mesh, arm.end_mm, arm.direction, 0.1 * stature, stature)
    return mesh


def _upper_arm(body: Body, side: str) -> SegmentAxis:
    """Return the axis of an arm down to where a torso's is cut off, above the elbow."""
    arm, elbow = body.axis(f"{side} arm"), body.axis(f"{side} forearm").start_mm
    reach = _ARM_SHARE * float((elbow - arm.start_mm) @ arm.direction)
    return SegmentAxis(arm.name, arm.start_mm, arm.start_mm + reach * arm.direction)


def _limb(
    body: Body, part: str, stature: float
) -> tuple[TriangleMesh, dict[str, SegmentAxis], list[str]]:
    side, limb = part.split(" ", 1)
    if limb == "arm":
        # Through the armpit, midway between the upright and the arm: neither breast nor back.
        tilt = 0.5 * np.arccos(-body.axis(f"{side} arm").direction[2])
        out = np.array([np.cos(tilt) * (1.0 if side == "left" else -1.0), 0.0, np.sin(tilt)])
        cut = side_of_plane(body.mesh, body.landmark(f"{side} armpit").at_mm, out)
        names, marks = ["arm", "forearm"], ["armpit", "shoulder", "elbow", "wrist"]
    elif limb == "leg":
        cut = side_of_plane(body.mesh, body.landmark("crotch").at_mm - 4.0 * _UP, -_UP)
        names, marks = ["thigh", "lower leg"], ["knee", "ankle"]
    else:
        knee = body.landmark(f"{side} knee").at_mm
        cut = side_of_plane(body.mesh, knee + 0.03 * stature * _UP, -_UP)
        names, marks = ["lower leg"], ["knee", "ankle"]
    axes = {f"{side} {name}": body.axis(f"{side} {name}") for name in names}
    mesh = piece_at(cut, axes[f"{side} {names[-1]}"].point_at_mm(0.5))
    kept = [f"{side} {name}" for name in marks]
    return mesh, axes, [*kept, "crotch"] if limb == "leg" else kept


def _main_axis(mesh: TriangleMesh) -> SegmentAxis:
    """Return the upright axis through the middle of the surface, from its top to its bottom."""
    share = mesh.face_areas_mm2()
    middle: Floats = share @ mesh.corners.mean(axis=1) / share.sum()
    low, high = mesh.bounds_mm()[:, 2]
    return SegmentAxis(
        "trunk", np.array([middle[0], middle[1], high]), np.array([middle[0], middle[1], low])
    )
