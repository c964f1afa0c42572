"""Plates of a standing body as a maker would bound them, cut along smooth lines."""

from __future__ import annotations

from functools import cache

import numpy as np

from fitkit.geometry.arrays import Floats, Ints
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.topology import components
from tests.truth.bodies import body_mesh
from tests.truth.standing_field import HIP_JOINT_MM, leg_axis
from tests.truth.torso_field import ARM_AXIS, SHOULDER_MM

__all__ = ["BODY_PATCHES", "ROUND_PATCHES", "body_patch", "cut_where", "round_patch"]

_FRONT = np.array([0.0, -1.0, 0.0])
# How far down the leg or the arm, from its joint, the knee and the elbow lie.
_KNEE_MM, _ELBOW_MM = 395.0, 290.0

# Round pieces: the nearest point of the body to a place, and how far from it the piece reaches, mm.
ROUND_PATCHES: dict[str, tuple[Floats, float]] = {
    "chest": (np.array([75.0, -140.0, 1215.0]), 105.0),
    "shoulder": (SHOULDER_MM + np.array([30.0, 0.0, 60.0]), 95.0),
    "knee": (HIP_JOINT_MM + _KNEE_MM * leg_axis() + 80.0 * _FRONT, 70.0),
    "back": (np.array([70.0, 140.0, 1280.0]), 125.0),
    "elbow": (SHOULDER_MM + _ELBOW_MM * ARM_AXIS - 60.0 * _FRONT, 50.0),
    "thigh": (HIP_JOINT_MM + 180.0 * leg_axis() + 100.0 * _FRONT, 85.0),
    "buttock": (np.array([80.0, 150.0, 870.0]), 100.0),
}
# Plates on limbs: joint, axis, which way they face, from where to where along the axis in mm, and
# how far round to either side in degrees: two level rounds and a line down each side.
_LIMB_PLATES: dict[str, tuple[Floats, Floats, Floats, float, float, float]] = {
    "knee": (HIP_JOINT_MM, leg_axis(), _FRONT, _KNEE_MM - 85.0, _KNEE_MM + 95.0, 70.0),
    "elbow": (SHOULDER_MM, ARM_AXIS, -_FRONT, _ELBOW_MM - 70.0, _ELBOW_MM + 70.0, 70.0),
    "thigh": (HIP_JOINT_MM, leg_axis(), _FRONT, 110.0, 330.0, 70.0),
}
BODY_PATCHES = ("chest", "shoulder", "knee", "back", "elbow", "thigh", "buttock")
# The seat's plate goes to the line down the middle, almost.
_MIDDLE_MM, _SEAT_REACH_MM = 4.0, 120.0
# Farther from a limb's axis than this is another limb, or the trunk.
_LIMB_MM = 170.0


@cache
def body_patch(name: str, cell_mm: float = 5.0) -> TriangleMesh:
    """Return a plate of the standing body by its name, a disk with slivers along its border."""
    body = body_mesh("standing body", cell_mm)
    if name in _LIMB_PLATES:
        return _limb_plate(body, *_LIMB_PLATES[name])
    if name != "buttock":
        return round_patch(name, cell_mm)
    middle = _nearest(body, ROUND_PATCHES[name][0])
    beyond = np.linalg.norm(body.vertices - body.vertices[middle], axis=1) - _SEAT_REACH_MM
    return cut_where(body, np.maximum(beyond, _MIDDLE_MM - body.vertices[:, 0]), middle)


@cache
def round_patch(name: str, cell_mm: float = 5.0) -> TriangleMesh:
    """Return what lies within a ball round a place of the standing body, and hangs together."""
    body = body_mesh("standing body", cell_mm)
    place, reach_mm = ROUND_PATCHES[name]
    middle = _nearest(body, place)
    beyond = np.linalg.norm(body.vertices - body.vertices[middle], axis=1) - reach_mm
    return cut_where(body, beyond, middle)


def _nearest(body: TriangleMesh, place: Floats) -> int:
    return int(np.argmin(np.linalg.norm(body.vertices - place, axis=1)))


def _limb_plate(
    body: TriangleMesh,
    joint: Floats,
    axis: Floats,
    facing: Floats,
    start_mm: float,
    end_mm: float,
    round_deg: float,
) -> TriangleMesh:
    out = body.vertices - joint
    along = out @ axis
    out = out - along[:, None] * axis
    ahead = facing - (facing @ axis) * axis
    ahead /= np.linalg.norm(ahead)
    radius = np.linalg.norm(out, axis=1)
    bearing = np.abs(np.arctan2(out @ np.cross(axis, ahead), out @ ahead))
    # All in millimetres, so that the corners come out as corners.
    beyond = np.maximum.reduce(
        [
            start_mm - along,
            along - end_mm,
            (bearing - np.radians(round_deg)) * np.minimum(radius, _LIMB_MM),
            radius - _LIMB_MM,
        ]
    )
    far = np.abs(along - 0.5 * (start_mm + end_mm)) + radius * bearing
    return cut_where(body, beyond, int(np.argmin(np.where(radius > _LIMB_MM, np.inf, far))))


def cut_where(mesh: TriangleMesh, beyond: Floats, vertex: int) -> TriangleMesh:
    """Return the piece round a vertex on which a field over the vertices, (V,), is negative.

    The border runs through the triangles, where the field, taken as linear over each, is zero.
    """
    beyond = np.where(beyond == 0.0, -1e-9, beyond)
    inside = beyond < 0.0
    f = mesh.faces
    half = np.concatenate([f[:, [0, 1]], f[:, [1, 2]], f[:, [2, 0]]])
    pairs = np.sort(half[inside[half[:, 0]] != inside[half[:, 1]]], axis=1)
    pairs = np.unique(pairs, axis=0)
    a, b = pairs.T
    share = (beyond[a] / (beyond[a] - beyond[b]))[:, None]
    crossing = mesh.vertices[a] + share * (mesh.vertices[b] - mesh.vertices[a])
    number = {(int(i), int(j)): len(inside) + k for k, (i, j) in enumerate(pairs.tolist())}
    faces: list[tuple[int, int, int]] = [tuple(row) for row in f[inside[f].all(axis=1)].tolist()]
    for row in f[inside[f].any(axis=1) & ~inside[f].all(axis=1)].tolist():
        k = next(
            k
            for k in range(3)
            if inside[row[k]] != inside[row[k - 1]] and inside[row[k]] != inside[row[(k + 1) % 3]]
        )
        tip, after, before = row[k], row[(k + 1) % 3], row[k - 1]
        first = number[min(tip, after), max(tip, after)]
        second = number[min(tip, before), max(tip, before)]
        if inside[tip]:
            faces.append((tip, first, second))
        else:
            faces += [(first, after, before), (first, before, second)]
    return _piece_with(np.concatenate([mesh.vertices, crossing]), np.array(faces), vertex)


def _piece_with(points: Floats, faces: Ints, vertex: int) -> TriangleMesh:
    used = np.unique(faces)
    mesh = TriangleMesh(points[used], np.searchsorted(used, faces))
    label = components(mesh)
    here = int(np.searchsorted(used, vertex))
    piece, _ = mesh.faces_only(label == label[(mesh.faces == here).any(axis=1)][0])
    return piece
