"""How a surface bends at each vertex: its second fundamental form, evened out."""

from __future__ import annotations

import numpy as np
import scipy.sparse as sp

from fitkit.capture.surface_smoothing import Sparse, averaging, even_normals
from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.topology import vertex_adjacency

__all__ = ["least_bend_per_mm", "second_form", "tangents"]

# As often as the normals are evened out.
_PLACE_ROUNDS = 3
_BEND_ROUNDS = 2


def least_bend_per_mm(mesh: TriangleMesh) -> Floats:
    """(V,) float per mm: the lesser principal curvature, below 0 along a valley."""
    adjacency = sp.csr_array(vertex_adjacency(mesh))
    averaged = averaging(adjacency)
    normal = even_normals(mesh, averaged)
    form = second_form(mesh, normal, *tangents(normal), averaged, adjacency)
    mean, half = 0.5 * (form[:, 0] + form[:, 2]), 0.5 * (form[:, 0] - form[:, 2])
    return np.asarray(mean - np.hypot(half, form[:, 1]))


def tangents(normal: Floats) -> tuple[Floats, Floats]:
    """(V, 3) float twice: unit tangents that stand square on unit normals and each other."""
    helper = np.where(np.abs(normal[:, 2:]) < 0.9, [[0.0, 0.0, 1.0]], [[1.0, 0.0, 0.0]])
    along = np.cross(helper, normal)
    along /= np.linalg.norm(along, axis=1, keepdims=True)
    return along, np.cross(normal, along)


def second_form(
    mesh: TriangleMesh,
    normal: Floats,
    along: Floats,
    across: Floats,
    averaged: Sparse,
    adjacency: Sparse,
) -> Floats:
    """(V, 3) float per mm: how normals turn from vertex to vertex, by least squares.

    The turn of the normal over an edge (s, t) is (a s + b t, b s + c t); positive where the
    surface falls away. The places are evened out as the normals were; else the uneven
    triangles would make the surface look flatter than it is.

    Parameters
    ----------
    mesh
        The surface.
    normal, along, across
        (V, 3) float, unit: of :func:`fitkit.capture.surface_smoothing.even_normals` and
        :func:`tangents`.
    averaged, adjacency
        Of :func:`fitkit.capture.surface_smoothing.averaging` and
        :func:`fitkit.geometry.topology.vertex_adjacency`.
    """
    pairs = adjacency.tocoo()
    i, j = pairs.coords
    place = mesh.vertices
    for _ in range(_PLACE_ROUNDS):
        place = 0.5 * (place + averaged @ place)
    edge, turn = place[j] - place[i], normal[j] - normal[i]

    def dot(left: Floats, right: Floats) -> Floats:
        product: Floats = np.einsum("ei,ei->e", left, right)
        return product

    s, t = dot(edge, along[i]), dot(edge, across[i])
    p, q = dot(turn, along[i]), dot(turn, across[i])
    count = len(mesh.vertices)

    def total(values: Floats) -> Floats:
        return np.asarray(np.bincount(i, values, count), dtype=np.float64)

    ss, st, tt = total(s * s), total(s * t), total(t * t)
    zero = np.zeros(count)
    left = np.stack([ss, st, zero, st, ss + tt, st, zero, st, tt], axis=1).reshape(-1, 3, 3)
    right = np.stack([total(s * p), total(t * p + s * q), total(t * q)], axis=1)
    left += (1e-3 * (ss + tt) + 1e-9)[:, None, None] * np.eye(3)
    a, b, c = np.linalg.solve(left, right[:, :, None])[:, :, 0].T
    # The tangents turn from vertex to vertex: average the form as a matrix of the world.
    form = (
        a[:, None, None] * along[:, :, None] * along[:, None, :]
        + b[:, None, None]
        * (along[:, :, None] * across[:, None, :] + across[:, :, None] * along[:, None, :])
        + c[:, None, None] * across[:, :, None] * across[:, None, :]
    ).reshape(-1, 9)
    for _ in range(_BEND_ROUNDS):
        form = 0.5 * form + 0.5 * (averaged @ form)
    matrix = form.reshape(-1, 3, 3)
    bend: Floats = np.stack(
        [
            np.einsum("vi,vij,vj->v", one, matrix, other)
            for one, other in ((along, along), (along, across), (across, across))
        ],
        axis=1,
    )
    return bend
