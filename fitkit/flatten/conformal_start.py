"""A first flat map without flipped triangles: conformal, else over a circle."""

from __future__ import annotations

import igl
import numpy as np
from scipy.sparse import coo_matrix, diags
from scipy.sparse.linalg import splu
from scipy.spatial.distance import pdist

from fitkit.flatten.jacobian import FaceGradients, signed_singular_values
from fitkit.geometry.arrays import Floats, Ints
from fitkit.geometry.mesh import TriangleMesh

__all__ = ["circle_map", "conformal_start", "flipped_faces"]


def flipped_faces(mesh: TriangleMesh, flat_mm: Floats) -> int:
    """Return how many faces a flat map turns over or collapses."""
    _, smaller = signed_singular_values(FaceGradients(mesh).jacobians(flat_mm))
    return int((~(smaller > 0)).sum())


def conformal_start(mesh: TriangleMesh, border: Ints) -> Floats:
    """Return (V, 2) mm: a flat map of a disk without flips, of the surface's own area.

    Parameters
    ----------
    mesh
        A disk.
    border
        (B,) int: its border once round, the mesh on the left.

    References
    ----------
    B. Levy, S. Petitjean, N. Ray, J. Maillot, *Least squares conformal maps for automatic texture
    atlas generation*, ACM Transactions on Graphics 21(3), 2002, 10.1145/566654.566590.
    """
    rim = mesh.vertices[border]
    # The two points furthest apart: a choice that hangs on the shape alone.
    apart = pdist(rim)
    first, second = np.column_stack(np.triu_indices(len(rim), 1))[int(np.argmax(apart))]
    pinned = np.array([border[first], border[second]], dtype=np.int64)
    span = float(apart.max())
    found = igl.lscm(mesh.vertices, mesh.faces, pinned, np.array([[0.0, 0.0], [span, 0.0]]))
    flat = np.ascontiguousarray(found[0])
    if np.isfinite(flat).all():
        gradients = FaceGradients(mesh)
        weight = gradients.areas_mm2 / gradients.areas_mm2.sum()
        larger, smaller = signed_singular_values(gradients.jacobians(flat))
        area_ratio = float(weight @ (larger * smaller))
        if area_ratio > 0 and (smaller > 0).all():
            scaled: Floats = flat / np.sqrt(area_ratio)
            return scaled
    return circle_map(mesh, border)


def circle_map(mesh: TriangleMesh, border: Ints) -> Floats:
    """Return (V, 2) mm: the border laid round a circle, every inner point amid its neighbours.

    It never flips a triangle, whatever the surface.

    References
    ----------
    W. T. Tutte, *How to draw a graph*, Proceedings of the London Mathematical Society s3-13, 1963,
    10.1112/plms/s3-13.1.743.
    """
    count = len(mesh.vertices)
    rim = mesh.vertices[border]
    steps = np.linalg.norm(np.roll(rim, -1, axis=0) - rim, axis=1)
    turn = 2.0 * np.pi * np.concatenate([[0.0], np.cumsum(steps)[:-1]]) / steps.sum()
    radius = np.sqrt(mesh.area_mm2() / np.pi)
    flat = np.zeros((count, 2))
    flat[border] = radius * np.column_stack([np.cos(turn), np.sin(turn)])
    inner = np.setdiff1d(np.arange(count), border)
    if len(inner) == 0:
        return flat
    f = mesh.faces
    edges = np.unique(np.sort(np.concatenate([f[:, :2], f[:, 1:], f[:, ::2]]), axis=1), axis=0)
    ends = np.concatenate([edges, edges[:, ::-1]])
    beside = coo_matrix((np.ones(len(ends)), (ends[:, 0], ends[:, 1])), shape=(count, count))
    laplacian = (diags(np.asarray(beside.sum(axis=1)).ravel()) - beside).tocsr()
    rows = laplacian[inner]
    flat[inner] = splu(rows[:, inner].tocsc()).solve(-(rows[:, border] @ flat[border]))
    return flat
