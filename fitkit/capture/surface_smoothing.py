"""Smoothness of a surface and of its moves: what is certain stays, the rest bends least."""

from __future__ import annotations

from typing import Any, TypeAlias

import numpy as np
import scipy.sparse as sp

from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.topology import vertex_adjacency

__all__ = ["Sparse", "averaging", "even_normals", "fair", "smooth_moves"]

Sparse: TypeAlias = Any  # scipy ships no types

_NORMAL_ROUNDS = 3
_STAY = 1e-4
_ACCURACY = 1e-3


def averaging(adjacency: Sparse) -> Sparse:
    """Return the matrix that takes the mean over each vertex's neighbours.

    ``adjacency`` is that of :func:`fitkit.geometry.topology.vertex_adjacency`.
    """
    return sp.diags_array(1.0 / np.maximum(adjacency.sum(axis=1), 1.0)) @ adjacency


def even_normals(mesh: TriangleMesh, averaged: Sparse) -> Floats:
    """(V, 3) float: the vertices' unit normals, evened out among neighbours."""
    normal = mesh.vertex_normals()
    for _ in range(_NORMAL_ROUNDS):
        normal = normal + averaged @ normal
        length = np.linalg.norm(normal, axis=1, keepdims=True)
        normal = normal / np.where(length > 0, length, 1.0)
    return normal


def smooth_moves(
    offset: Floats, certainty: Floats, averaged: Sparse, *, stiffness: float, step_mm: float
) -> Floats:
    """Minimise certainty (x - offset)^2 + stiffness |L x|^2, outliers weighted down once.

    Parameters
    ----------
    offset, certainty
        (V,) float mm and 0 and up: the moves wanted and how much to believe them.
    averaged
        Of :func:`averaging`.
    stiffness
        Weight of the smoothness.
    step_mm
        What lies twice this off the first solution counts half in the second.
    """
    count = len(offset)
    rough = sp.csr_array(sp.eye_array(count) - averaged)
    across = sp.csr_array(rough.T)
    squares = stiffness * np.asarray(rough.power(2).sum(axis=0)).ravel()
    smooth = np.zeros(count)
    weight = certainty
    for _ in range(2):
        smooth = _solved(weight + _STAY, rough, across, squares, weight * offset, smooth, stiffness)
        error = np.abs(smooth - offset)
        weight = certainty / (1.0 + (error / (2.0 * step_mm)) ** 2)
    return smooth


def fair(mesh: TriangleMesh, certainty: Floats, *, stiffness: float = 0.5) -> TriangleMesh:
    """Return the mesh bent as little as what is certain of it allows.

    Minimises certainty |x - x0|^2 + stiffness |L x|^2 over the vertices: certain places stay
    where they are, and a gap between them goes on as they do.

    Parameters
    ----------
    mesh
        Any mesh.
    certainty
        (V,) float, 0 and up.
    stiffness
        Weight of the smoothness.
    """
    averaged = averaging(sp.csr_array(vertex_adjacency(mesh)))
    rough = sp.csr_array(sp.eye_array(len(mesh.vertices)) - averaged)
    across = sp.csr_array(rough.T)
    squares = stiffness * np.asarray(rough.power(2).sum(axis=0)).ravel()
    weight = certainty + _STAY
    start = np.zeros(len(weight))
    # Solved for the moves: their size, not that of the coordinates, sets the accuracy.
    moves = [
        _solved(weight, rough, across, squares, -stiffness * bend, start, stiffness, 400)
        for bend in (across @ (rough @ mesh.vertices)).T
    ]
    return mesh.with_vertices(mesh.vertices + np.stack(moves, axis=1))


def _solved(
    weight: Floats,
    rough: Sparse,
    across: Sparse,
    squares: Floats,
    wanted: Floats,
    start: Floats,
    stiffness: float,
    most: int = 80,
) -> Floats:
    """Solve (weight + stiffness L'L) x = wanted by conjugate gradients, scaled by the diagonal.

    Written out with plain sums: scipy's takes its inner products from a library whose threads
    spin between them, which costs six times the work itself.

    References
    ----------
    Hestenes and Stiefel 1952, Methods of conjugate gradients for solving linear systems,
    doi:10.6028/jres.049.044.
    """

    def times(x: Floats) -> Floats:
        product: Floats = weight * x + stiffness * (across @ (rough @ x))
        return product

    inverse = 1.0 / (weight + squares)
    close = _ACCURACY**2 * float((wanted * wanted).sum())
    solution = start.copy()
    rest = wanted - times(solution)
    scaled = inverse * rest
    way, size = scaled.copy(), float((rest * scaled).sum())
    for _ in range(most):
        if float((rest * rest).sum()) <= close:
            break
        turned = times(way)
        step = size / float((way * turned).sum())
        solution += step * way
        rest -= step * turned
        scaled = inverse * rest
        before, size = size, float((rest * scaled).sum())
        way = scaled + (size / before) * way
    return solution
