"""A rough closed surface made even: its vertices spread out along it, at their exact place."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeAlias

import numpy as np
from scipy.sparse import csr_array, diags_array

from fitkit.geometry.arrays import Bools, Floats, Ints
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.nearest import SurfaceRays
from fitkit.geometry.topology import edges, vertex_adjacency

__all__ = ["Settle", "even_surface"]

_RELAX_ROUNDS = 3
_UNFOLD_ROUNDS = 8
_RELAX_STEP = 0.6

Settle: TypeAlias = Callable[[Floats, bool], tuple[Floats, Floats]]
"""Takes (V, 3) points near a surface and whether it matters to be exact; gives those of the
surface and its outward unit normals."""


def even_surface(rough: TriangleMesh, settle: Settle) -> TriangleMesh:
    """Return a rough mesh with its vertices put on a surface and slid along it to be even.

    Parameters
    ----------
    rough
        Closed, never crossing itself, within a grid cell of the surface.
    settle
        Puts points on the surface.
    """
    adjacency = csr_array(vertex_adjacency(rough))
    mean = diags_array(1.0 / adjacency.sum(axis=1)) @ adjacency
    points, normals = settle(rough.vertices, False)
    for turn in range(_RELAX_ROUNDS):
        for _ in range(2):
            step = mean @ points - points
            step -= np.einsum("vi,vi->v", step, normals)[:, np.newaxis] * normals
            points = points + _RELAX_STEP * step
        points, normals = settle(points, turn + 1 == _RELAX_ROUNDS)
    return _unfolded(rough.with_vertices(points), normals, rough, mean)


def _unfolded(
    even: TriangleMesh, normals: Floats, rough: TriangleMesh, mean: csr_array
) -> TriangleMesh:
    """Take back the evening where it turned faces over.

    In the sharp bottom of a groove that has closed, vertices of one wall can land on the
    other. The rough surface never crosses itself, so those vertices return to it; a little
    smoothing then rounds the bottom of the groove, away from the mesh.
    """
    held = np.zeros(len(rough.vertices), dtype=np.bool_)
    before = _unit_normals(rough)
    fallback = rough.vertices
    for _ in range(2):
        fallback = 0.5 * (fallback + mean @ fallback)
    pairs, _ = edges(rough)
    bent = np.einsum("ei,ei->e", normals[pairs[:, 0]], normals[pairs[:, 1]]) < 0.7
    creased = np.zeros(len(rough.vertices), dtype=np.bool_)
    creased[pairs[bent]] = True
    for _ in range(2):
        creased = _widened(creased, mean)
    near_crease = pairs[creased[pairs].any(axis=1)]
    for attempt in range(_UNFOLD_ROUNDS):
        agrees = np.einsum("fi,fci->fc", _unit_normals(even), normals[even.faces])
        kept_way = np.einsum("fi,fi->f", _unit_normals(even), before) > 0.3
        sound = (agrees.min(axis=1) > 0.3) | (kept_way & (agrees.max(axis=1) > 0))
        sound |= kept_way & held[even.faces].all(axis=1)
        turned = np.r_[even.faces[~sound].ravel(), _crossing(even, near_crease)]
        if len(turned) == 0:
            break
        held[turned] = True
        held = _widened(held, mean)
        if attempt >= _UNFOLD_ROUNDS // 2:
            fallback = rough.vertices
        even = even.with_vertices(np.where(held[:, np.newaxis], fallback, even.vertices))
    return even


def _widened(chosen: Bools, mean: csr_array) -> Bools:
    """Return the choice of vertices with all their neighbours."""
    widened: Bools = chosen | ((mean @ chosen.astype(np.float64)) > 0)
    return widened


def _crossing(mesh: TriangleMesh, pairs: Ints) -> Ints:
    """Return the vertices of those edges, of the given ones, that pass through a face, and it."""
    if len(pairs) == 0:
        return np.zeros(0, dtype=np.int64)
    start, along = mesh.vertices[pairs[:, 0]], np.diff(mesh.vertices[pairs], axis=1)[:, 0]
    hits = SurfaceRays(mesh).all_hits(start, along)
    pair, face = pairs[hits.rays], mesh.faces[hits.faces]
    touching = (face[:, :, np.newaxis] == pair[:, np.newaxis]).any(axis=(1, 2))
    # An edge in the plane of a flat face lies beside it, not through it.
    normals = _unit_normals(mesh)[hits.faces]
    heights = np.einsum("kei,ki->ke", mesh.vertices[pair] - hits.points_mm[:, np.newaxis], normals)
    through = (heights.min(axis=1) < -1e-3) & (heights.max(axis=1) > 1e-3)
    crossing = through & ~touching
    return np.concatenate([pair[crossing].ravel(), face[crossing].ravel()])


def _unit_normals(mesh: TriangleMesh) -> Floats:
    scaled = mesh.face_normals_scaled()
    unit: Floats = scaled / np.maximum(np.linalg.norm(scaled, axis=1, keepdims=True), 1e-300)
    return unit
