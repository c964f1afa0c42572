"""The world: floor, up, and which way the wearer faces, from how the sheets lie."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Sequence

import numpy as np

from fitkit.capture.tag_set import AnySheet
from fitkit.findings import Finding, Severity
from fitkit.geometry.arrays import Floats
from fitkit.geometry.rigid import RigidTransform

__all__ = ["world_from_sheets"]

# Sheets this near a common plane lie on it: floors are uneven and paper curls a little.
_OFF_PLANE_MM = 15.0
_OFF_UPRIGHT_RAD, _SMALL_OFF_UPRIGHT_RAD = np.radians(8.0), np.radians(20.0)
_LARGE_TAG_MM = 100.0
_MOST_TRIPLES = 4000
_FEWEST_ON_FLOOR = 3
# How far from a plane the sheets on it may scatter before it is worth a word.
_UNEVEN_MM = 4.0


def world_from_sheets(
    sheets: Sequence[tuple[AnySheet, RigidTransform]],
    centres_mm: Floats,
    view_axes: Floats,
) -> tuple[RigidTransform, tuple[Finding, ...]]:
    """Return the motion into the world from the frame the adjustment happened to use.

    The floor, z = 0, is the plane on which most sheets lie, at least three; else the plane
    of the sheet with the lowest number. The wearer faces -y, the way the top edge of sheet
    1 points. The origin is below the point nearest to all optical axes.

    Parameters
    ----------
    sheets
        Each sheet with its pose ``start_from_sheet``.
    centres_mm, view_axes
        (C, 3) float mm and (C, 3) unit vectors: where the cameras stood and looked.
    """
    ordered = sorted(sheets, key=lambda item: (item[0].number, item[0].tag_id))
    poses = [pose for _, pose in ordered]
    on_floor, findings = _floor_group(ordered)
    up, height_mm = _plane(ordered, on_floor)
    facing, facing_findings = _facing(ordered, on_floor, up)

    y = -facing
    x = np.cross(y, up)
    rotation = np.stack([x, y, up])
    middle = _nearest_to_axes(
        centres_mm, view_axes, np.mean([p.translation_mm for p in poses], axis=0)
    )
    origin = middle - (up @ middle - height_mm) * up
    return RigidTransform(rotation, -rotation @ origin), (*findings, *facing_findings)


def _floor_group(
    ordered: Sequence[tuple[AnySheet, RigidTransform]],
) -> tuple[list[int], tuple[Finding, ...]]:
    """Return which sheets lie on the floor, by index."""
    origins = np.array([pose.translation_mm for _, pose in ordered])
    normals = np.array([pose.rotation[:, 2] for _, pose in ordered])
    # How a small tag tilts is seen less well than where it is.
    least_cosine = np.cos(
        [
            _OFF_UPRIGHT_RAD if sheet.tag_side_mm >= _LARGE_TAG_MM else _SMALL_OFF_UPRIGHT_RAD
            for sheet, _ in ordered
        ]
    )

    def lying_on(point: Floats, normal: Floats) -> list[int]:
        near = np.abs((origins - point) @ normal) < _OFF_PLANE_MM
        level = normals @ normal > least_cosine
        return [int(index) for index in np.flatnonzero(near & level)]

    # A plane through one sheet alone tips over a long floor; three together do not.
    groups = [lying_on(origins[k], normals[k]) for k in range(len(ordered))]
    for a, b, c in _triples(len(ordered)):
        normal = np.cross(origins[b] - origins[a], origins[c] - origins[a])
        area = float(np.linalg.norm(normal))
        # Three sheets almost in a line say nothing about the plane across it.
        if area < 0.1 * max(float(np.ptp(origins[[a, b, c]], axis=0).max()), 1.0) ** 2:
            continue
        normal = normal / area * (1.0 if normal @ normals[a] > 0 else -1.0)
        groups.append(lying_on(origins[a], normal))
    best = max(groups, key=lambda group: (len(group), -min(group, default=len(ordered))))
    if len(best) >= _FEWEST_ON_FLOOR:
        return best, ()
    group = next((g for g in groups if len(g) == 2 and g[0] == 0), [0])
    sheet = ordered[0][0]
    return group, (
        Finding(
            "floor-uncertain",
            Severity.WARNING,
            f"sheet {sheet.number}",
            f"No {_FEWEST_ON_FLOOR} marker sheets lie on one plane; the floor was taken from "
            f"{sheet.called}.",
            "Lay at least three marker sheets flat on the floor around the wearer.",
            number=float(len(group)),
            limit=float(_FEWEST_ON_FLOOR),
            unit="sheets",
        ),
    )


def _triples(count: int) -> Iterable[tuple[int, int, int]]:
    """Return all triples of sheets, or where there are many, enough of them drawn by lot."""
    if math.comb(count, 3) <= _MOST_TRIPLES:
        return itertools.combinations(range(count), 3)
    rng = np.random.default_rng(0)
    drawn = [rng.choice(count, 3, replace=False) for _ in range(_MOST_TRIPLES)]
    return [(int(a), int(b), int(c)) for a, b, c in drawn]


def _plane(
    ordered: Sequence[tuple[AnySheet, RigidTransform]], on_floor: Sequence[int]
) -> tuple[Floats, float]:
    """Return the upward unit normal of the plane through the sheets, and its height along it."""
    points = np.concatenate(
        [ordered[k][1].apply(ordered[k][0].outer_points_mm()) for k in on_floor]
    )
    middle = points.mean(axis=0)
    up = np.linalg.svd(points - middle, full_matrices=False)[2][2]
    if up @ np.mean([ordered[k][1].rotation[:, 2] for k in on_floor], axis=0) < 0:
        up = -up
    return up, float(up @ middle)


def _facing(
    ordered: Sequence[tuple[AnySheet, RigidTransform]],
    on_floor: Sequence[int],
    up: Floats,
) -> tuple[Floats, tuple[Finding, ...]]:
    """Return the unit vector along the floor in which the wearer faces."""

    def top_along_floor(index: int) -> Floats:
        top = ordered[index][1].rotation[:, 1]
        along: Floats = top - (up @ top) * up
        return along

    # A sheet that stands on a wall points up, not along the floor.
    top = top_along_floor(0)
    if ordered[0][0].tells_front and np.linalg.norm(top) > 0.7:
        return top / np.linalg.norm(top), ()
    sheet = ordered[on_floor[0]][0]
    top = top_along_floor(on_floor[0])
    return top / np.linalg.norm(top), (
        Finding(
            "facing-uncertain",
            Severity.WARNING,
            f"sheet {sheet.number}",
            "Marker sheet 1 does not lie in sight; the wearer was taken to face the way the "
            f"top edge of {sheet.called} points.",
            "Lay sheet 1 flat in front of the wearer with its top edge pointing the way "
            "the wearer faces.",
        ),
    )


def _nearest_to_axes(centres_mm: Floats, view_axes: Floats, fallback_mm: Floats) -> Floats:
    """Return the point with the least squared distance to all optical axes.

    A weak pull to the middle of the sheets settles it where all cameras look the same way.
    """
    across = np.eye(3) - view_axes[:, :, None] * view_axes[:, None, :]
    pull = 1e-3 * len(centres_mm)
    matrix = across.sum(axis=0) + pull * np.eye(3)
    side = np.einsum("cij,cj->i", across, centres_mm) + pull * fallback_mm
    point: Floats = np.linalg.solve(matrix, side)
    return point
