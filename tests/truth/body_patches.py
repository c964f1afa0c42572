"""Pieces of a standing body such as plates are made for, cut along smooth lines."""

from __future__ import annotations

from functools import cache

import numpy as np

from fitkit.geometry.arrays import Floats, Ints
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.topology import components
from tests.truth.bodies import body_mesh
from tests.truth.standing_field import HIP_JOINT_MM, leg_axis
from tests.truth.torso_field import ARM_AXIS, SHOULDER_MM

__all__ = ["BODY_PATCHES", "body_patch", "cut_ball_shaped"]

_KNEE_MM = HIP_JOINT_MM + 395.0 * leg_axis()
_THIGH_MM = HIP_JOINT_MM + 180.0 * leg_axis()
_ELBOW_MM = SHOULDER_MM + 290.0 * ARM_AXIS

# Where on the body (the nearest point of it is meant) and how far from there it reaches, mm.
BODY_PATCHES: dict[str, tuple[Floats, float]] = {
    "chest": (np.array([75.0, -140.0, 1215.0]), 105.0),
    "shoulder": (SHOULDER_MM + np.array([30.0, 0.0, 60.0]), 95.0),
    "knee": (_KNEE_MM + np.array([0.0, -80.0, 0.0]), 70.0),
    "back": (np.array([70.0, 140.0, 1280.0]), 125.0),
    "elbow": (_ELBOW_MM + np.array([0.0, 60.0, 0.0]), 50.0),
    "thigh": (_THIGH_MM + np.array([0.0, -100.0, 0.0]), 85.0),
    "buttock": (np.array([80.0, 150.0, 870.0]), 100.0),
}


@cache
def body_patch(name: str) -> TriangleMesh:
    """Return a piece of the standing body by its name, a disk with slivers along its border."""
    place, reach_mm = BODY_PATCHES[name]
    whole = body_mesh("standing body")
    near = int(np.argmin(np.linalg.norm(whole.vertices - place, axis=1)))
    return cut_ball_shaped(whole, near, reach_mm)


def cut_ball_shaped(mesh: TriangleMesh, vertex: int, reach_mm: float) -> TriangleMesh:
    """Return what lies within a ball round a vertex and hangs together with it.

    The border runs through the triangles, where the distance, taken as linear over each, is the
    reach.
    """
    beyond = np.linalg.norm(mesh.vertices - mesh.vertices[vertex], axis=1) - reach_mm
    beyond[beyond == 0.0] = -1e-9
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
