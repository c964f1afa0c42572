"""The straight axes of trunk, neck and arms, found from sections."""

from __future__ import annotations

import numpy as np

from fitkit.body.body import SegmentAxis
from fitkit.body.body_levels import BodyLevels
from fitkit.body.side import Side
from fitkit.body.taut_round import TautRound, taut_round
from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.nearest import SurfaceRays

__all__ = ["find_segment_axes", "neck_level"]

_STATION_MM = 8.0
# An upper arm, below whose elbow an arm may bend; it ends amid two stations, for one on the bound
# would be in or out by rounding alone.
_FIT_REACH_MM = 29.5 * _STATION_MM
_STRAY_MM = 15.0
_TOP_EDGE_MM = 12.0  # a neck stump is rounded off at its top


def find_segment_axes(mesh: TriangleMesh, levels: BodyLevels) -> dict[str, SegmentAxis]:
    """Return the axes found, by name: always the trunk, neck and arms where there are any.

    Trunk: straight down from the top of the body to its lowest point, at x = 0, through the
    mean centre of the trunk's sections. Arms: the line through the centres of sections square
    to it, from where it comes out on the shoulder to where it comes out at the arm's end, or
    at a bend. Neck: likewise, from its top down to where the shoulders begin.
    """
    low, high = mesh.bounds_mm()[:, 2]
    centre = trunk_centre_mm(levels)
    axes = {
        "trunk": SegmentAxis(
            "trunk", np.array([0.0, centre[1], high]), np.array([0.0, centre[1], low])
        )
    }
    rays = SurfaceRays(mesh)
    neck = _neck_axis(mesh, levels)
    if neck is not None:
        axes["neck"] = neck
    for side in (Side.LEFT, Side.RIGHT):
        arm = _arm_axis(mesh, rays, levels.arms[side], f"{side.value} arm")
        if arm is not None:
            axes[arm.name] = arm
    return axes


def trunk_centre_mm(levels: BodyLevels) -> Floats:
    """(2,) float mm: mean centre of the trunk's sections below the armpits, or all of them."""
    armpit = min((chain[0].centre_mm[2] for chain in levels.arms.values() if chain), default=np.inf)
    centres = np.array([one.centre_mm[:2] for one in levels.trunk if one.centre_mm[2] <= armpit])
    mean: Floats = centres.mean(axis=0)
    return mean


def _arm_axis(
    mesh: TriangleMesh, rays: SurfaceRays, chain: tuple[TautRound, ...], name: str
) -> SegmentAxis | None:
    usual = float(np.median([one.area_mm2 for one in chain])) if chain else 0.0
    # At the arm's own end a level cuts it askew, and only partly.
    whole = [one for one in chain if 0.6 * usual < one.area_mm2 < 1.8 * usual]
    if len(whole) < 6:
        return None
    first = whole[0].centre_mm
    centres = np.array([one.centre_mm for one in whole])
    centres = centres[first[2] - centres[:, 2] < _FIT_REACH_MM]
    point, direction = _line_through(centres, downward=True)
    stations: list[Floats] = []
    for _ in range(4):
        stations = _centres_along(mesh, point, direction)
        if len(stations) < 5:
            return None
        used = np.array(stations)
        reach = (used - used[0]) @ direction
        point, direction = _line_through(used[reach < _FIT_REACH_MM], downward=True)
    ends = np.array([stations[len(stations) // 2], stations[-1]])
    on_line = point + ((ends - point) @ direction)[:, np.newaxis] * direction
    hits = rays.first_hit(on_line, np.stack([-direction, direction]))
    if not np.isfinite(hits.points_mm).all():
        return None
    return SegmentAxis(name, hits.points_mm[0], hits.points_mm[1])


def _centres_along(mesh: TriangleMesh, point: Floats, direction: Floats) -> list[Floats]:
    """Centres of sections square to a limb, both ways from a point while it stays one limb."""
    start = taut_round(mesh, point, direction)
    if start is None:
        return []
    centres: list[Floats] = []
    for way in (-1.0, 1.0):
        found: list[Floats] = []
        previous = start.area_mm2
        for k in range(0 if way > 0 else 1, 200):
            at = point + way * k * _STATION_MM * direction
            one = taut_round(mesh, at, direction)
            if one is None or not 0.8 * previous < one.area_mm2 < 1.25 * previous:
                break
            if np.linalg.norm(one.centre_mm - at) > _STRAY_MM:
                break
            found.append(one.centre_mm)
            previous = one.area_mm2
        centres = [*found[::-1], *centres] if way < 0 else [*centres, *found]
    return centres


def _line_through(points: Floats, *, downward: bool) -> tuple[Floats, Floats]:
    """Return the middle and the direction of the line that best fits the points."""
    middle = points.mean(axis=0)
    direction: Floats = np.linalg.svd(points - middle)[2][0]
    if (direction[2] > 0) == downward:
        direction = -direction
    return middle, direction


def neck_level(levels: BodyLevels) -> int | None:
    """Return the index of the narrowest level of the neck, None where there is none.

    A neck is the narrowest place above the armpits (above half height on a bust without
    arms), with less than two thirds of the trunk's greatest girth above its lowest fifth: a
    shin over a foot is no neck.
    """
    heights, girths = levels.heights_mm, levels.girths_mm
    widest = float(girths[heights >= heights[-1] + 0.2 * (heights[0] - heights[-1])].max())
    half = 0.5 * (heights[0] + heights[-1])
    armpit = max((chain[0].centre_mm[2] for chain in levels.arms.values() if chain), default=half)
    chest = np.flatnonzero(heights >= armpit)
    usable = chest[heights[chest] < heights[0] - _TOP_EDGE_MM]
    if len(usable) < 3:
        return None
    # From the shoulders up: the girth falls to the neck and, on a body with a head, rises again.
    best = int(usable[-1])
    passed = shoulders = 0.0
    for k in usable[::-1].tolist():
        passed = max(passed, float(girths[k]))
        if girths[k] < girths[best]:
            best, shoulders = k, passed
        elif girths[k] > 1.15 * girths[best] and girths[best] < 0.66 * shoulders:
            break
    return best if girths[best] < 0.66 * widest else None


def _neck_axis(mesh: TriangleMesh, levels: BodyLevels) -> SegmentAxis | None:
    narrow = neck_level(levels)
    if narrow is None:
        return None
    girths = levels.girths_mm
    top = narrow
    while top > 0 and girths[top - 1] < 1.15 * girths[narrow]:
        top -= 1
    if top == 0:  # a stump: leave out its rounded edge
        top = int(np.argmax(levels.heights_mm < levels.heights_mm[0] - _TOP_EDGE_MM))
    base = narrow
    while base + 1 < len(girths) and girths[base + 1] < 1.3 * girths[narrow]:
        base += 1
    centres = np.array([one.centre_mm for one in levels.trunk[top : base + 1]])
    if len(centres) < 4:
        return None
    point, direction = _line_through(centres, downward=True)
    for _ in range(3):
        reach = (centres[[0, -1]] - point) @ direction
        stations = np.linspace(reach[0], reach[1], 9)
        rounds = [taut_round(mesh, point + t * direction, direction) for t in stations]
        found = [one for one in rounds if one is not None]
        smallest = min((one.girth_mm for one in found), default=0.0)
        # Square to the neck the lowest sections may run out into the shoulders.
        kept = np.array([one.centre_mm for one in found if one.girth_mm < 1.3 * smallest])
        if len(kept) < 4:
            break
        point, direction = _line_through(kept, downward=True)
    span = (centres[[0, -1]] - point) @ direction
    return SegmentAxis("neck", point + span[0] * direction, point + span[1] * direction)
