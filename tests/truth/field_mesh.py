"""Closed meshes of fields that are the same on both sides of x = 0."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeAlias

import numpy as np
import scipy.sparse as sp
from skimage import measure

from fitkit.geometry.arrays import Floats, Ints
from fitkit.geometry.mesh import TriangleMesh

__all__ = ["Field", "mirrored_mesh"]

Field: TypeAlias = Callable[[Floats, Floats, Floats], Floats]
"""Values at x, y and z in mm: negative inside, about a distance in mm."""

_marching_cubes: Any = measure.marching_cubes


def mirrored_mesh(field: Field, low_mm: Floats, high_mm: Floats, cell_mm: float) -> TriangleMesh:
    """Return the closed, outward wound, even mesh of a field's zero.

    The half with x >= 0 is extracted between two corners of a box, which must hold it with some
    room, and mirrored, so that symmetry holds vertex by vertex.
    """
    counts = np.round((high_mm - low_mm) / cell_mm).astype(int) + 1
    axes = [low_mm[k] + cell_mm * np.arange(counts[k]) for k in range(3)]
    grid = np.meshgrid(*axes, indexing="ij")
    values = field(*grid)
    points, faces, _, _ = _marching_cubes(values, 0.0, spacing=(cell_mm,) * 3)
    points = points.astype(np.float64) + low_mm
    points[points[:, 0] < 1e-6, 0] = 0.0
    faces = faces.astype(np.int64)
    plane = points[:, 0] == 0.0
    flipped = np.arange(len(points))
    flipped[~plane] = len(points) + np.arange(int((~plane).sum()))
    mirrored = points[~plane] * np.array([-1.0, 1.0, 1.0])
    whole = np.vstack([points, mirrored])
    both = np.vstack([faces, flipped[faces[:, ::-1]]])
    mesh = TriangleMesh(_evened(field, whole, both, 8), both)
    return mesh if mesh.volume_mm3() > 0 else TriangleMesh(mesh.vertices, mesh.faces[:, ::-1])


def _gradient(field: Field, points: Floats, step: float = 0.2) -> Floats:
    columns = []
    for axis in range(3):
        shift = np.zeros(3)
        shift[axis] = step
        ahead, behind = points + shift, points - shift
        columns.append((field(*ahead.T) - field(*behind.T)) / (2 * step))
    return np.stack(columns, axis=1)


def _onto_surface(field: Field, points: Floats, rounds: int) -> Floats:
    """Newton steps along the gradient; points on the mirror plane stay on it."""
    on_plane = points[:, 0] == 0.0
    for _ in range(rounds):
        gradient = _gradient(field, points)
        gradient[on_plane, 0] = 0.0
        square = np.maximum((gradient**2).sum(axis=1), 0.05)
        step = field(*points.T) / square
        points = points - np.clip(step, -2.0, 2.0)[:, None] * gradient
    return points


def _evened(field: Field, points: Floats, faces: Ints, rounds: int) -> Floats:
    """Slide vertices within the surface so that faces become of about one size."""
    n = len(points)
    edges = np.vstack([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    ones = np.ones(2 * len(edges))
    both = np.vstack([edges, edges[:, ::-1]])
    adjacency = sp.csr_matrix((ones, (both[:, 0], both[:, 1])), shape=(n, n))
    adjacency.data[:] = 1.0
    degree = np.asarray(adjacency.sum(axis=1)).ravel()
    plane = points[:, 0] == 0.0
    for _ in range(rounds):
        # a vertex on the mirror plane feels both halves, which cancels its x
        move = adjacency @ points / degree[:, None] - points
        move[plane, 0] = 0.0
        points = _onto_surface(field, points + 0.6 * move, 1)
    return _onto_surface(field, points, 3)
