"""How a tape measure answers to a small shift of the surface under it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import scipy.sparse as sp

from fitkit.body.tape_measure import TapeMeasure
from fitkit.geometry.arrays import Floats, Ints
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.nearest import nearest_on_mesh

__all__ = ["measure_gradients", "surface_weights"]

_SAME_POINT_MM = 1e-9


def measure_gradients(mesh: TriangleMesh, measures: Sequence[TapeMeasure]) -> list[sp.csr_array]:
    """Return for each measure how many mm it grows per mm of each vertex's shift.

    A tape is a polygon; shifting one of its corners lengthens it by the shift times the sum of
    the two unit vectors that come in there. A corner moves with the triangle it lies in. The
    tape's plane is taken to move with the surface, as levels and limb axes do.

    Returns
    -------
    gradients
        (V, 3) sparse each.
    """
    corners, pulls = [], []
    for measure in measures:
        points, pull = _pulls(measure)
        corners.append(points)
        pulls.append(pull)
    counts = np.cumsum([0, *(len(points) for points in corners)])
    on, faces, _ = nearest_on_mesh(mesh, np.vstack([*corners, np.zeros((0, 3))]))
    spread = surface_weights(mesh, on, faces)
    return [
        sp.csr_array(spread[start:end].T @ sp.csr_array(pull))
        for start, end, pull in zip(counts[:-1], counts[1:], pulls, strict=True)
    ]


def _pulls(measure: TapeMeasure) -> tuple[Floats, Floats]:
    points = measure.tape_mm
    if measure.kind == "height":
        top = int(np.argmax(points[:, 2]))
        return points[top : top + 1], np.array([[0.0, 0.0, 1.0]])
    closed = measure.kind == "girth"
    following = np.roll(points, -1, axis=0)
    side = following - points
    length = np.linalg.norm(side, axis=1)
    unit = np.where(length[:, None] > _SAME_POINT_MM, side / np.maximum(length, 1e-30)[:, None], 0)
    if not closed:
        unit[-1] = 0.0
    return points, np.roll(unit, 1, axis=0) - unit


def surface_weights(mesh: TriangleMesh, points_mm: Floats, faces: Ints) -> sp.csr_array:
    """(N, V) sparse: the share of each corner in points that lie in triangles of a mesh."""
    corners = mesh.faces[faces]
    a, b, c = (mesh.vertices[corners[:, k]] for k in range(3))
    normal = np.cross(b - a, c - a)
    twice = np.maximum(np.einsum("ni,ni->n", normal, normal), 1e-30)
    second = np.einsum("ni,ni->n", np.cross(points_mm - a, c - a), normal) / twice
    third = np.einsum("ni,ni->n", np.cross(b - a, points_mm - a), normal) / twice
    shares = np.clip(np.stack([1.0 - second - third, second, third], axis=1), 0.0, 1.0)
    shares /= shares.sum(axis=1, keepdims=True)
    rows = np.repeat(np.arange(len(points_mm)), 3)
    return sp.csr_array(
        (shares.ravel(), (rows, corners.ravel())), shape=(len(points_mm), len(mesh.vertices))
    )
