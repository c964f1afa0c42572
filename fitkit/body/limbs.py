"""Crotch, knees, ankles, elbows and wrists, and the axes of forearms, thighs and lower legs."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from scipy.spatial import cKDTree

from fitkit.body.body import Landmark, SegmentAxis
from fitkit.body.body_levels import BodyLevels, trunk_round
from fitkit.body.limb_line import bend_mm, limb_line
from fitkit.body.side import Side
from fitkit.body.taut_round import taut_rounds
from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.nearest import SurfaceRays

__all__ = ["find_limbs"]

_UP = np.array([0.0, 0.0, 1.0])
_PARTING_TO_MM = 0.2
_WHOLE_ARM_MM = 400.0
_FOOT_LONGER = 1.4
# Means and standard deviations over the 6068 people of the 2012 US Army survey (ANSUR II,
# public domain), computed from its individual data: acromion-radiale over that plus
# radiale-stylion; mid-patella height over crotch height; lateral malleolus over crotch height.
_ELBOW_SHARE, _ELBOW_SPREAD = 0.558, 0.011
_KNEE_SHARE, _KNEE_SPREAD = 0.576, 0.014
_ANKLE_SHARE = 0.084
_ABOVE_ANKLE = 0.13
# A thigh's middle is a bone's only below the fold of the seat: so far under the crotch.
_UNDER_SEAT = 0.12
# The calf draws the middle of a leg off its bones (by eye, no source).
_CALF_MM = 2.0
# Wrist to shoulder over fingertip to shoulder lies at 0.76 there; a wide window about it.
_WRIST_WINDOW = (0.66, 0.88)
_WRIST_REACH_MM = 24.0


def find_limbs(
    mesh: TriangleMesh, levels: BodyLevels, axes: Mapping[str, SegmentAxis]
) -> tuple[dict[str, SegmentAxis], dict[str, Landmark]]:
    """Return the axes and landmarks of whole arms and legs; empty where the body has none.

    - ``crotch``: the highest point between the legs.
    - ``left knee``: the front of the leg at the bend of its middle; ``left ankle``: the
      outside at the ankle bone's usual height; ``crown``: the top of a body with legs.
    - ``left elbow``: the back of the arm at its bend; ``left wrist``: the outside at the
      narrowest place above the hand. And so on the right.
    """
    found_axes: dict[str, SegmentAxis] = {}
    marks: dict[str, Landmark] = {}
    rays = SurfaceRays(mesh)
    crotch = _crotch(mesh, levels)
    if crotch is not None:
        marks["crotch"] = Landmark("crotch", crotch, 0.9)
    for side in (Side.LEFT, Side.RIGHT):
        if crotch is not None:
            _leg(mesh, rays, levels, side, crotch, found_axes, marks)
        axis = axes.get(f"{side.value} arm")
        if axis is not None and levels.arms[side]:
            _forearm(mesh, rays, levels, side, axis, found_axes, marks)
    if "neck" in axes and ("left ankle" in marks or "right ankle" in marks):
        top = mesh.vertices[int(np.argmax(mesh.vertices[:, 2]))]
        marks["crown"] = Landmark("crown", top, 0.9)
    return found_axes, marks


def _crotch(mesh: TriangleMesh, levels: BodyLevels) -> Floats | None:
    """Return the saddle between the legs: the lowest level at which they are still one."""
    legs = [levels.legs.get(side, ()) for side in (Side.LEFT, Side.RIGHT)]
    if not all(legs) or not levels.trunk:
        return None
    high, low = float(levels.trunk[-1].centre_mm[2]), float(legs[0][0].centre_mm[2])
    while high - low > _PARTING_TO_MM:
        middle = 0.5 * (low + high)
        low, high = (low, middle) if trunk_round(mesh, middle) is not None else (middle, high)
    rounds = taut_rounds(mesh, np.array([0.0, 0.0, low]), _UP)
    near = []
    for leg in legs:
        centre = leg[0].centre_mm
        own = [one for one in rounds if one.centre_mm[0] * centre[0] > 0]
        if not own:
            return None
        near.append(min(own, key=lambda one: abs(one.centre_mm[0])).path.points_mm)
    gap, partner = cKDTree(near[1]).query(near[0])
    k = int(np.argmin(gap))
    saddle: Floats = 0.5 * (near[0][k] + near[1][partner[k]])
    return saddle


def _leg(
    mesh: TriangleMesh,
    rays: SurfaceRays,
    levels: BodyLevels,
    side: Side,
    crotch: Floats,
    axes: dict[str, SegmentAxis],
    marks: dict[str, Landmark],
) -> None:
    chain = levels.legs[side]
    floor = float(mesh.vertices[:, 2].min())
    rise = float(crotch[2]) - floor
    # Where the body ends above the feet neither knee nor ankle can be told by proportion.
    if not _has_foot(mesh, side, floor, rise):
        return
    top = next((one for one in chain if one.centre_mm[2] < crotch[2] - 0.04 * rise), chain[0])
    line = limb_line(mesh, top.centre_mm, -_UP)
    heights = line.centres_mm[:, 2] - floor if line.rounds else np.zeros(0)
    ankle_mm = _ANKLE_SHARE * rise
    if len(heights) < 20 or heights[-1] > 0.16 * rise:
        return
    ways = line.along_mm
    falling = slice(None, None, -1)
    begin_mm = min(float(heights[0]), (1.0 - _UNDER_SEAT) * rise)
    end_mm = max(float(heights[-1]), _ABOVE_ANKLE * rise)
    bones_mm = begin_mm - end_mm
    begin, end = np.interp([begin_mm, end_mm], heights[falling], ways[falling]).tolist()
    knee_way, sure = bend_mm(
        line,
        begin,
        end,
        usual=(begin_mm - _KNEE_SHARE * rise) / bones_mm,
        spread=_KNEE_SPREAD * rise / bones_mm,
        noise_mm=_CALF_MM,
    )
    knee, course = line.at_mm(knee_way)
    name = side.value
    _mark(rays, marks, f"{name} knee", knee, _square(np.array([0.0, -1, 0]), course), sure)
    # Down at the ankle the instep draws the sections forward; the shin's own course goes on.
    shin_mm = max(float(heights[-1]), 1.4 * ankle_mm)
    shin, course = line.at_mm(float(np.interp(shin_mm, heights[falling], ways[falling])))
    ankle = shin + course * (floor + ankle_mm - shin[2]) / course[2]
    outward = np.array([1.0 if side is Side.LEFT else -1.0, 0, 0])
    _mark(rays, marks, f"{name} ankle", ankle, outward, 0.4)
    start = top.centre_mm
    axes[f"{name} thigh"] = SegmentAxis(f"{name} thigh", start, knee)
    axes[f"{name} lower leg"] = SegmentAxis(f"{name} lower leg", knee, ankle)


def _has_foot(mesh: TriangleMesh, side: Side, floor: float, rise: float) -> bool:
    """Tell whether the section near the floor is much longer, front to back, than above it."""

    def length_mm(share: float) -> float:
        rounds = taut_rounds(mesh, np.array([0.0, 0.0, floor + share * rise]), _UP)
        sign = 1.0 if side is Side.LEFT else -1.0
        own = [one for one in rounds if sign * one.centre_mm[0] > 0]
        if not own:
            return 0.0
        inner = min(own, key=lambda one: abs(one.centre_mm[0]))
        return float(inner.high_mm[1] - inner.low_mm[1])

    return length_mm(0.03) > _FOOT_LONGER * length_mm(0.16) > 0


def _forearm(
    mesh: TriangleMesh,
    rays: SurfaceRays,
    levels: BodyLevels,
    side: Side,
    axis: SegmentAxis,
    axes: dict[str, SegmentAxis],
    marks: dict[str, Landmark],
) -> None:
    armpit = float(levels.arms[side][0].centre_mm[2])
    share = (axis.start_mm[2] - armpit) / max(-axis.direction[2] * axis.length_mm, 1e-9)
    start = axis.point_at_mm(min(1.0, share + 25.0 / axis.length_mm))
    line = limb_line(mesh, start, axis.direction, widest=2.2)
    if len(line.rounds) < 20:
        return
    before_mm = float((line.centres_mm[0] - axis.start_mm) @ axis.direction)
    ways, girths = line.along_mm, line.girths_mm
    tip_mm = before_mm + float(ways[-1])
    if tip_mm < _WHOLE_ARM_MM:
        return
    window = np.flatnonzero(
        (ways + before_mm > _WRIST_WINDOW[0] * tip_mm)
        & (ways + before_mm < _WRIST_WINDOW[1] * tip_mm)
    )
    if len(window) < 5:
        return
    wrist_way = _narrowest_mm(ways[window], girths[window])
    if wrist_way is None:
        return  # no hand below it that would tell where the wrist is
    whole_mm = before_mm + wrist_way
    elbow_way, sure = bend_mm(
        line,
        0.0,
        wrist_way,
        usual=(_ELBOW_SHARE * whole_mm - before_mm) / wrist_way,
        spread=_ELBOW_SPREAD * whole_mm / wrist_way,
    )
    elbow, course = line.at_mm(elbow_way)
    wrist, wrist_course = line.at_mm(wrist_way)
    name = side.value
    outward = np.array([1.0 if side is Side.LEFT else -1.0, 0, 0])
    _mark(rays, marks, f"{name} elbow", elbow, _square(np.array([0.0, 1, 0]), course), sure)
    _mark(rays, marks, f"{name} wrist", wrist, _square(outward, wrist_course), 0.7)
    axes[f"{name} forearm"] = SegmentAxis(f"{name} forearm", elbow, wrist)


def _narrowest_mm(ways: Floats, girths: Floats) -> float | None:
    """Return the way to a limb's narrowest place; None where it gets ever narrower or wider.

    One section carries a scan's roughness. Girth that falls evenly to the wrist and rises evenly
    to the hand turns where two straight lines meet, and all sections tell where that is.
    """
    narrow = int(np.argmin(girths))
    if narrow in (0, len(girths) - 1):
        return None
    tries = np.linspace(ways[narrow] - _WRIST_REACH_MM, ways[narrow] + _WRIST_REACH_MM, 41)
    tries = tries[(tries > ways[1]) & (tries < ways[-2])]
    misfits = []
    for turn in tries.tolist():
        lines = np.column_stack([np.ones(len(ways)), ways, np.maximum(ways - turn, 0.0)])
        fit = lines @ np.linalg.lstsq(lines, girths, rcond=None)[0]
        misfits.append(float(((girths - fit) ** 2).sum()))
    return float(tries[int(np.argmin(misfits))]) if misfits else float(ways[narrow])


def _square(direction: Floats, course: Floats) -> Floats:
    """Return the direction made square to a limb's course."""
    square: Floats = direction - (direction @ course) * course
    return square / np.linalg.norm(square)


def _mark(
    rays: SurfaceRays,
    marks: dict[str, Landmark],
    name: str,
    inside: Floats,
    direction: Floats,
    confidence: float,
) -> None:
    hit = rays.first_hit(inside[np.newaxis], direction[np.newaxis])
    if np.isfinite(hit.points_mm).all():
        marks[name] = Landmark(name, hit.points_mm[0], confidence)
