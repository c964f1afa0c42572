"""Taking a scan's noise off a form before it is laid flat.

Noise a millimetre high and a few millimetres wide is nothing to a plate, but it would be
counted as surface: the blank would come out too large and its strain meaningless.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_matrix, diags, identity, vstack
from scipy.sparse.linalg import splu

from fitkit.geometry.arrays import Floats, Ints
from fitkit.geometry.mesh import TriangleMesh

__all__ = ["TOLERANCE_MM", "Smoothed", "noise_mm", "smoothed_form"]

TOLERANCE_MM = 0.5
"""The form, averaged over a palm's width, is moved by no more than this."""
# Less noise than this is not felt through a sheet and adds next to nothing to its length.
_CLEAN_MM = 0.05
_PALM_MM = 40.0
# A border has neighbours on two sides only to tell it from its noise: it is held this much stiffer.
_RIM = 4.0
_HALVINGS = 12
_RINGS = 5
_SMOOTHEST, _ROUGHEST = 1e5, 1e-2


@dataclass(frozen=True, slots=True, eq=False)
class Smoothed:
    """A form without its noise.

    Attributes
    ----------
    mesh
        Same faces.
    noise_mm
        Standard deviation of the noise found, 0 where it was left alone.
    moved_mm
        How far the form was moved where it was moved most, averaged over a palm's width.
    """

    mesh: TriangleMesh
    noise_mm: float
    moved_mm: float


def noise_mm(mesh: TriangleMesh) -> float:
    """Return the standard deviation of the noise from vertex to vertex across the surface.

    Taken from fourth differences, to which a smooth surface adds next to nothing; noise that
    spreads over several edges is not seen.
    """
    umbrella = _umbrella(mesh)
    twice = (umbrella @ umbrella).tocsr()
    gain = np.sqrt(np.asarray(twice.multiply(twice).sum(axis=1)).ravel())
    across = np.abs(np.einsum("vi,vi->v", twice @ mesh.vertices, _normals(mesh)))
    inner = np.ones(len(mesh.vertices), dtype=bool)
    inner[_border(mesh).ravel()] = False
    seen = inner & (gain > 0)
    if seen.sum() < 12:
        return 0.0
    # 1.4826 times the median of absolute values is a normal distribution's standard deviation.
    return float(1.4826 * np.median(across[seen] / gain[seen]))


def smoothed_form(mesh: TriangleMesh, *, tolerance_mm: float = TOLERANCE_MM) -> Smoothed:
    """Return a form with its noise taken off across the surface, as much of it as there is.

    Parameters
    ----------
    mesh
        Even triangles; vertices at the very same place (the sides of a seam) stay together.
    tolerance_mm
        The form averaged over a palm's width is moved no further.

    Notes
    -----
    Vertices move along their normals to where the surface bends least, the mean square of the moves
    being that of the noise (Morozov's discrepancy principle); a border is smoothed along itself
    alone, so that it keeps its course. What that would move too far is smoothed less.
    """
    places, same = np.unique(mesh.vertices, axis=0, return_inverse=True)
    same = same.reshape(-1)
    welded = TriangleMesh(places, same[mesh.faces])
    noise = noise_mm(welded)
    if noise <= _CLEAN_MM:
        return Smoothed(mesh, 0.0, 0.0)
    normals = _normals(welded)
    along = vstack([diags(normals[:, k]) for k in range(3)]).tocsc()
    umbrella = _umbrella(welded)
    stiffer = np.ones(len(places))
    stiffer[_border(welded).ravel()] = _RIM
    umbrella = diags(stiffer) @ umbrella
    bend = vstack([umbrella @ diags(normals[:, k]) for k in range(3)]).tocsc()
    bent = np.concatenate([umbrella @ places[:, k] for k in range(3)])
    stiff = (bend.T @ bend).tocsc()
    pull = -(bend.T @ bent)
    unit = identity(len(places), format="csc")
    average = _palm_average(welded)

    def moves(strength: float) -> Floats:
        result: Floats = splu((unit + strength * stiff).tocsc()).solve(strength * pull)
        return result

    low, high = np.log(_ROUGHEST), np.log(_SMOOTHEST)
    best = moves(_ROUGHEST)
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        tried = moves(float(np.exp(middle)))
        too_much = (
            float(np.sqrt((tried**2).mean())) > noise
            or float(np.abs(average @ tried).max()) > tolerance_mm
        )
        low, high = (low, middle) if too_much else (middle, high)
        best = best if too_much else tried
    moved = places + (along @ best).reshape(3, -1).T
    return Smoothed(mesh.with_vertices(moved[same]), noise, float(np.abs(average @ best).max()))


def _border(mesh: TriangleMesh) -> Ints:
    """Return (B, 2) int: edges with a face on one side only."""
    f = mesh.faces
    pairs = np.sort(np.concatenate([f[:, [0, 1]], f[:, [1, 2]], f[:, [2, 0]]]), axis=1)
    edges, uses = np.unique(pairs, axis=0, return_counts=True)
    once: Ints = edges[uses == 1]
    return once


def _umbrella(mesh: TriangleMesh) -> coo_matrix:
    """Return (V, V): each vertex less the mean of its neighbours, on a border of those along it."""
    f, count = mesh.faces, len(mesh.vertices)
    pairs = np.unique(
        np.sort(np.concatenate([f[:, [0, 1]], f[:, [1, 2]], f[:, [2, 0]]]), axis=1), axis=0
    )
    rim = _border(mesh)
    on_rim = np.zeros(count, dtype=bool)
    on_rim[rim.ravel()] = True
    ends = np.concatenate([pairs, pairs[:, ::-1]])
    ends = np.concatenate([ends[~on_rim[ends[:, 0]]], rim, rim[:, ::-1]])
    beside = coo_matrix((np.ones(len(ends)), (ends[:, 0], ends[:, 1])), shape=(count, count))
    number = np.asarray(beside.sum(axis=1)).ravel()
    return (identity(count) - diags(1.0 / np.maximum(number, 1.0)) @ beside).tocsr()


def _normals(mesh: TriangleMesh) -> Floats:
    """Return (V, 3) unit: the mean normal over several rings, which noise tips little."""
    a, b, c = np.moveaxis(mesh.corners, 1, 0)
    across = np.cross(b - a, c - a)
    normals = np.zeros_like(mesh.vertices)
    for k in range(3):
        np.add.at(normals, mesh.faces[:, k], across)
    for _ in range(_RINGS):
        around = np.zeros_like(normals)
        for k in range(3):
            np.add.at(around, mesh.faces[:, k], normals[mesh.faces].sum(axis=1))
        normals = around
    length = np.linalg.norm(normals, axis=1, keepdims=True)
    unit: Floats = normals / np.where(length > 0, length, 1.0)
    return unit


def _palm_average(mesh: TriangleMesh) -> coo_matrix:
    """Return (V, V): the mean over the vertices within half a palm's width."""
    from scipy.spatial import cKDTree

    tree = cKDTree(mesh.vertices)
    near = tree.sparse_distance_matrix(tree, 0.5 * _PALM_MM, output_type="coo_matrix")
    here = coo_matrix((np.ones(len(near.data)), (near.row, near.col)), shape=near.shape) + identity(
        len(mesh.vertices)
    )
    return (diags(1.0 / np.asarray(here.sum(axis=1)).ravel()) @ here).tocsr()
