"""Named points that geometry alone can find on a body."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np
from scipy.spatial import cKDTree

from fitkit.body.body import Landmark, SegmentAxis
from fitkit.body.body_levels import BodyLevels, trunk_round
from fitkit.body.side import Side
from fitkit.body.taut_round import TautRound, taut_rounds
from fitkit.body.trunk_levels import TrunkLevels
from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.nearest import nearest_on_mesh
from fitkit.geometry.section import plane_sections

__all__ = ["find_landmarks", "level_points_mm", "rim_point_mm"]

_ARMPIT_TO_MM = 0.2
_HOLLOW_MM = 25.0
_WAYS = {
    "front": np.array([0.0, -1.0]),
    "back": np.array([0.0, 1.0]),
    "left": np.array([1.0, 0.0]),
    "right": np.array([-1.0, 0.0]),
}


def find_landmarks(
    mesh: TriangleMesh,
    levels: BodyLevels,
    axes: Mapping[str, SegmentAxis],
    trunk: TrunkLevels,
) -> dict[str, Landmark]:
    """Return the landmarks found, by name; what the body does not show is left out.

    - ``front chest``, ``back chest``, ``left chest``, ``right chest``, and the same for
      ``waist`` and ``hip``: where level rays from the trunk's axis leave the trunk.
    - ``left armpit``, ``right armpit``: the highest point at which the arm stands clear.
    - ``left shoulder``, ``right shoulder``: where the arm's axis comes out on the shoulder.
    - ``front neck``, ``back neck``, ``left neck``, ``right neck``: the hollow of the outline
      between neck and chest, shoulder or back.
    - ``top``, ``bottom``: the ends of the trunk's axis.
    """
    found: dict[str, Landmark] = {}

    def add(name: str, at: Floats, confidence: float) -> None:
        found[name] = Landmark(name, at, confidence)

    centre = axes["trunk"].start_mm[:2]
    for level, height, confidence in (
        ("chest", trunk.chest_mm, trunk.chest_confidence),
        ("waist", trunk.waist_mm, 0.9),
        ("hip", trunk.hip_mm, 0.9),
    ):
        one = None if height is None else trunk_round(mesh, height)
        if one is not None:
            for name, point in level_points_mm(level, one, centre).items():
                add(name, point, confidence)
    for side in (Side.LEFT, Side.RIGHT):
        armpit = _armpit(mesh, levels.arms[side])
        if armpit is not None:
            add(f"{side.value} armpit", armpit, 0.9)
        axis = axes.get(f"{side.value} arm")
        if axis is not None:
            add(f"{side.value} shoulder", axis.start_mm, 0.7)
    if "neck" in axes:
        neck = dict(_neck_base(mesh, axes["neck"], found, levels))
        for name, point in _even_sides(mesh, neck).items():
            add(name, point, 0.6)
        sides = [found[name].at_mm[2] for name in ("left neck", "right neck") if name in found]
        one = trunk_round(mesh, float(np.mean(sides))) if sides else None
        if "back neck" not in found and one is not None:
            # A straight nape shows no hollow; the last neck bone lies about as high as the sides.
            add("back neck", rim_point_mm(one, centre, _WAYS["back"]), 0.3)
    # The sums that found the points leave them a hair off the surface.
    points = np.array([landmark.at_mm for landmark in found.values()]).reshape(-1, 3)
    on_surface = nearest_on_mesh(mesh, points)[0]
    found = {
        name: Landmark(name, at, landmark.confidence)
        for (name, landmark), at in zip(found.items(), on_surface, strict=True)
    }
    found["top"] = Landmark("top", axes["trunk"].start_mm)
    found["bottom"] = Landmark("bottom", axes["trunk"].end_mm)
    return found


def level_points_mm(level: str, one: TautRound, centre_mm: Floats) -> dict[str, Floats]:
    """Return front, back, left and right of a level round, (3,) float mm by landmark name."""
    return {
        f"{way} {level}": rim_point_mm(one, centre_mm, direction)
        for way, direction in _WAYS.items()
    }


def rim_point_mm(one: TautRound, centre_mm: Floats, direction: Floats) -> Floats:
    """(3,) float mm: where a level ray from ``centre_mm`` (2,) leaves a level round for good.

    A round that lies beside the centre, as on a slanting limb, is left from its own middle.
    """
    if not ((one.low_mm[:2] < centre_mm) & (centre_mm < one.high_mm[:2])).all():
        centre_mm = one.centre_mm[:2]
    points = one.path.points_mm
    flat = points[:, :2] - centre_mm
    across = flat @ np.array([-direction[1], direction[0]])
    along = flat @ direction
    after, along_after = np.roll(across, -1), np.roll(along, -1)
    crossing = np.flatnonzero((across >= 0) != (after >= 0))
    share = across[crossing] / (across[crossing] - after[crossing])
    reach = along[crossing] + share * (along_after[crossing] - along[crossing])
    k = int(np.argmax(reach))
    start, end = points[crossing[k]], np.roll(points, -1, axis=0)[crossing[k]]
    rim: Floats = start + share[k] * (end - start)
    return rim


def _armpit(mesh: TriangleMesh, chain: tuple[TautRound, ...]) -> Floats | None:
    """Return the saddle between arm and trunk: where their sections just part."""
    if len(chain) < 2:
        return None
    first = chain[0]

    def parted(height: float) -> tuple[TautRound, TautRound] | None:
        rounds = taut_rounds(mesh, np.array([0.0, 0.0, height]), np.array([0.0, 0.0, 1.0]))
        arm = [
            one
            for one in rounds
            if one.low_mm[0] * one.high_mm[0] > 0
            and (one.low_mm[:2] < first.centre_mm[:2]).all()
            and (first.centre_mm[:2] < one.high_mm[:2]).all()
        ]
        trunk = [one for one in rounds if one.low_mm[0] < 0 < one.high_mm[0]]
        return (arm[0], trunk[0]) if arm and trunk else None

    low = float(first.centre_mm[2])
    step = low - float(chain[1].centre_mm[2])
    high = low + step
    while high - low > _ARMPIT_TO_MM:
        middle = 0.5 * (low + high)
        low, high = (middle, high) if parted(middle) else (low, middle)
    pair = parted(low)
    if pair is None:
        return None
    arm, trunk = (one.path.points_mm for one in pair)
    gap, partner = cKDTree(trunk).query(arm)
    k = int(np.argmin(gap))
    saddle: Floats = 0.5 * (arm[k] + trunk[partner[k]])
    return saddle


def _neck_base(
    mesh: TriangleMesh, neck: SegmentAxis, found: Mapping[str, Landmark], levels: BodyLevels
) -> Iterator[tuple[str, Floats]]:
    """Yield the points where the outline is most hollow between the neck and what it rises from.

    Each is the point of an upright section farthest inside the straight line from the neck's
    wall to the shoulder, the chest or the upper back.
    """
    middle = 0.5 * (neck.start_mm + neck.end_mm)
    reach = 0.35 * float(levels.heights_mm[0] - levels.heights_mm[-1])
    for name, normal, sign in (
        ("front neck", [1.0, 0.0, 0.0], -1.0),
        ("back neck", [1.0, 0.0, 0.0], 1.0),
        ("left neck", [0.0, 1.0, 0.0], 1.0),
        ("right neck", [0.0, 1.0, 0.0], -1.0),
    ):
        axis = 1 if normal[0] else 0
        paths = plane_sections(mesh, middle, np.array(normal))
        if not paths:
            continue
        outline = paths[0].points_mm
        out = sign * (outline[:, axis] - middle[axis])
        on_side = (out > 0) & (outline[:, 2] <= middle[2]) & (outline[:, 2] > middle[2] - reach)
        points, out = outline[on_side], out[on_side]
        shoulder = found.get(f"{name.split()[0]} shoulder")
        if shoulder is not None:
            inward = out < abs(float(shoulder.at_mm[0] - middle[0]))
            points, out = points[inward], out[inward]
        if len(points) < 5:
            continue
        profile = np.column_stack([out, points[:, 2]])
        top = profile[int(np.argmax(profile[:, 1]))]
        # Seen from the neck, the flattest line of sight past the body: the far end of the hollow.
        drop = top - profile
        slope = np.where(drop[:, 1] > 20.0, -drop[:, 0] / np.maximum(drop[:, 1], 1e-9), -np.inf)
        far = profile[int(np.argmax(slope))]
        chord = (far - top) / np.linalg.norm(far - top)
        between = (profile[:, 1] <= top[1]) & (profile[:, 1] >= far[1])
        depth = (profile - top) @ np.array([-chord[1], chord[0]])
        inside = np.where(between, -depth, -np.inf)
        if inside.max() > 1.0:
            yield name, _deepest(points, np.where(between, -depth, 0.0), int(np.argmax(inside)))


def _even_sides(mesh: TriangleMesh, neck: Mapping[str, Floats]) -> dict[str, Floats]:
    """Return the neck's points with left and right at the mean of what both sides say.

    The side of a neck runs out into the shoulder in a long, shallow hollow, whose deepest point
    a little roughness moves by a finger's breadth; two of them say better.
    """
    if not {"left neck", "right neck"} <= neck.keys():
        return dict(neck)
    left, right = neck["left neck"], neck["right neck"]
    mean = 0.5 * (left + right * np.array([-1.0, 1.0, 1.0]))
    even: dict[str, Floats] = {}
    for name, sign in (("left neck", 1.0), ("right neck", -1.0)):
        at = mean * np.array([sign, 1.0, 1.0])
        even[name] = nearest_on_mesh(mesh, at[np.newaxis])[0][0]
    return {**neck, **even}


def _deepest(points: Floats, depth: Floats, best: int) -> Floats:
    """Return where an outline is deepest, from a parabola over what lies about its deepest corner.

    A single corner is where the triangles happen to lie; the hollow is rounder than they are.
    """
    # Corners of an outline follow each other; those about the deepest are near it both ways.
    corner: Floats = points[best]
    near = np.flatnonzero(np.linalg.norm(points - corner, axis=1) < _HOLLOW_MM)
    toward = points[near[-1]] - points[near[0]]
    length = float(np.linalg.norm(toward))
    if len(near) < 5 or length < _HOLLOW_MM:
        return corner
    along = (points[near] - corner) @ (toward / length)
    bend, slope, _ = np.polyfit(along, depth[near], 2)
    if bend >= 0:
        return corner
    peak = float(np.clip(-slope / (2 * bend), along.min(), along.max()))
    order = np.argsort(along)
    ways, corners = along[order], points[near][order]
    return np.array([np.interp(peak, ways, column) for column in corners.T])
