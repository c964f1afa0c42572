"""A display mannequin without head or forearms, whose mesh and girths are known exactly."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import scipy.sparse as sp
import scipy.sparse.csgraph  # noqa: F401
from scipy.spatial import ConvexHull

from fitkit.geometry.arrays import Floats, Ints
from fitkit.geometry.mesh import TriangleMesh
from tests.truth.field_mesh import mirrored_mesh
from tests.truth.torso_field import ARM_AXIS, SHOULDER_MM, torso_field

__all__ = [
    "GIRTHS",
    "mannequin",
    "mannequin_girths_mm",
    "stand_parts",
    "taut_girth_mm",
    "turned_solid",
]

_CELL_MM = 5.0
_LOW = np.array([0.0, -170.0, 765.0])
_HIGH = np.array([340.0, 170.0, 1505.0])

# how far down the arm from the middle of the shoulder ball
_ARM_LEVEL_MM = 150.0
GIRTHS: dict[str, tuple[Floats, Floats]] = {
    "neck": (np.array([0.0, 5.0, 1466.0]), np.array([0.0, -0.25, 1.0])),
    "chest": (np.array([0.0, 0.0, 1220.0]), np.array([0.0, 0.0, 1.0])),
    "waist": (np.array([0.0, 0.0, 1080.0]), np.array([0.0, 0.0, 1.0])),
    "hip": (np.array([0.0, 0.0, 882.0]), np.array([0.0, 0.0, 1.0])),
    "left upper arm": (SHOULDER_MM + _ARM_LEVEL_MM * ARM_AXIS, ARM_AXIS),
    "right upper arm": (
        (SHOULDER_MM + _ARM_LEVEL_MM * ARM_AXIS) * np.array([-1.0, 1.0, 1.0]),
        ARM_AXIS * np.array([-1.0, 1.0, 1.0]),
    ),
}
"""Tape girths: a point inside the ring and the normal of the plane it is taken in."""


@lru_cache(maxsize=2)
def mannequin(cell_mm: float = _CELL_MM) -> TriangleMesh:
    """Return the closed, outward wound mesh, mirror-symmetric in x = 0, on its stand's height.

    Torso with neck stump and upper arms: z from about 780 to 1490 mm, facing -y. One half
    is extracted from the field and mirrored, so symmetry holds vertex by vertex. Ten times as
    quick with ``cell_mm`` 10; the girths then are that mesh's own.
    """
    return mirrored_mesh(torso_field, _LOW, _HIGH, cell_mm)


def _section_points(mesh: TriangleMesh, point_mm: Floats, normal: Floats) -> tuple[Floats, Ints]:
    """Return the ends of the segments in which a plane crosses the faces, and those faces."""
    height = (mesh.vertices - point_mm) @ (normal / np.linalg.norm(normal))
    height[np.abs(height) < 1e-9] = 1e-9
    sign = height[mesh.faces] > 0
    crossed = np.flatnonzero(sign.any(axis=1) & ~sign.all(axis=1))
    ends = []
    for a, b in ((0, 1), (1, 2), (2, 0)):
        i, j = mesh.faces[crossed, a], mesh.faces[crossed, b]
        share = height[i] / np.where(height[i] == height[j], 1.0, height[i] - height[j])
        point = mesh.vertices[i] + share[:, None] * (mesh.vertices[j] - mesh.vertices[i])
        ends.append(np.where(((height[i] > 0) != (height[j] > 0))[:, None], point, np.nan))
    points = np.stack(ends, axis=1)
    kept = points[~np.isnan(points[:, :, 0])].reshape(-1, 2, 3)
    return kept, crossed


def taut_girth_mm(mesh: TriangleMesh, point_mm: Floats, normal: Floats) -> float:
    """Length of a taut tape round the part of the section that encloses the given point.

    The tape bridges hollows: it is the perimeter of the convex hull of that one connected
    piece of the plane section.
    """
    segments, crossed = _section_points(mesh, point_mm, normal)
    faces = mesh.faces[crossed]
    n = len(mesh.vertices)
    pairs = np.vstack([faces[:, [0, 1]], faces[:, [1, 2]]])
    graph = sp.csr_matrix((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(n, n))
    _, label = sp.csgraph.connected_components(graph, directed=False)
    of_segment = label[faces[:, 0]]
    best, nearest = -1, np.inf
    for piece in np.unique(of_segment):
        middle = segments[of_segment == piece].reshape(-1, 3).mean(axis=0)
        if np.linalg.norm(middle - point_mm) < nearest:
            best, nearest = int(piece), float(np.linalg.norm(middle - point_mm))
    ring = segments[of_segment == best].reshape(-1, 3)
    across = np.linalg.svd(np.eye(3) - np.outer(normal, normal) / (normal @ normal))[0][:, :2]
    flat = (ring - point_mm) @ across
    # in two dimensions the "area" of a hull is its perimeter
    return float(ConvexHull(flat).area)


def mannequin_girths_mm() -> dict[str, float]:
    """Taut-tape girths of the exact mesh at the levels of :data:`GIRTHS`."""
    mesh = mannequin()
    return {name: taut_girth_mm(mesh, *level) for name, level in GIRTHS.items()}


def stand_parts() -> tuple[TriangleMesh, ...]:
    """Return pole, collar and base plate below the torso; no part of the truth."""
    return (
        turned_solid([(14.0, 10.0), (14.0, 786.0)]),
        turned_solid([(24.0, 600.0), (24.0, 640.0)]),
        turned_solid([(180.0, 0.0), (180.0, 8.0), (165.0, 14.0), (30.0, 17.0), (24.0, 45.0)]),
    )


def turned_solid(profile: list[tuple[float, float]], sides: int = 72) -> TriangleMesh:
    """Return the closed solid of revolution of (radius, height) pairs, from the bottom up."""
    angle = 2 * np.pi * np.arange(sides) / sides
    rings = [
        np.stack([r * np.cos(angle), r * np.sin(angle), np.full(sides, h)], axis=1)
        for r, h in profile
    ]
    ends = np.array([[0.0, 0.0, profile[0][1]], [0.0, 0.0, profile[-1][1]]])
    vertices = np.vstack([*rings, ends])
    now, after = np.arange(sides), (np.arange(sides) + 1) % sides
    faces = []
    for k in range(len(profile) - 1):
        low, high = k * sides, (k + 1) * sides
        faces.append(np.stack([low + now, low + after, high + after], axis=1))
        faces.append(np.stack([low + now, high + after, high + now], axis=1))
    bottom, top = len(vertices) - 2, len(vertices) - 1
    faces.append(np.stack([np.full(sides, bottom), after, now], axis=1))
    last = (len(profile) - 1) * sides
    faces.append(np.stack([np.full(sides, top), last + now, last + after], axis=1))
    return TriangleMesh(vertices, np.vstack(faces))
