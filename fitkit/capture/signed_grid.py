"""Signed distances of a closed mesh on a regular grid."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.mesh_scene import MeshScene

__all__ = ["GridValues", "SignedGrid", "signed_grid", "upsampled"]

GridValues: TypeAlias = NDArray[np.float32]

_COARSE = 4  # cells of the fine grid, a power of 2, per cell of the grid that finds the surface


@dataclass(frozen=True, slots=True, eq=False)
class SignedGrid:
    """Distances to a surface on a regular grid, positive inside.

    Attributes
    ----------
    values_mm
        (X, Y, Z) float32 mm; exact near the surface, coarser elsewhere.
    low_mm
        (3,) float mm: place of the first node.
    cell_mm
        Distance between nodes.
    """

    values_mm: GridValues
    low_mm: Floats
    cell_mm: float

    def nodes_mm(self, axis: int) -> Floats:
        """Return the coordinates of the nodes along one axis."""
        nodes: Floats = self.low_mm[axis] + self.cell_mm * np.arange(self.values_mm.shape[axis])
        return nodes


def signed_grid(
    mesh: TriangleMesh, *, cell_mm: float, margin_mm: float, flat_mm: float | None = None
) -> SignedGrid:
    """Return the signed distance of a closed mesh on a grid round it.

    Parameters
    ----------
    mesh
        Closed, outward wound.
    cell_mm
        Distance between nodes.
    margin_mm
        How far the grid reaches beyond the mesh.
    flat_mm
        A height that shall lie half-way between two layers of nodes, so that a cut there
        comes out flat.
    """
    scene = MeshScene(mesh)

    def distance(places: Floats) -> GridValues:
        query = scene.centred(places)
        found: GridValues = -scene.scene.compute_signed_distance(query, nsamples=3).numpy()
        return found

    low, high = mesh.bounds_mm()
    low, high = low - margin_mm, high + margin_mm
    if flat_mm is not None:
        low[2] -= (low[2] - flat_mm - 0.5 * cell_mm) % cell_mm
    coarse_n = np.ceil((high - low) / (_COARSE * cell_mm)).astype(int) + 1
    axes = [low[k] + _COARSE * cell_mm * np.arange(coarse_n[k]) for k in range(3)]
    coarse = distance(np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, 3))
    values = coarse.reshape(coarse_n)
    step = _COARSE
    while step > 1:
        for axis in range(3):
            values = upsampled(values, axis, 2)
        # An interpolated value is at most the half diagonal of its cell off; two cells of the
        # fine grid more are needed.
        near = np.argwhere(np.abs(values) < (0.5 * np.sqrt(3.0) * step + 2.0) * cell_mm)
        step //= 2
        values[tuple(near.T)] = distance(low + step * cell_mm * near)
    return SignedGrid(values, low, cell_mm)


def upsampled(values: GridValues, axis: int, step: int) -> GridValues:
    """Return values with ``step - 1`` more nodes between each two along an axis."""
    low = np.take(values, range(values.shape[axis] - 1), axis)
    high = np.take(values, range(1, values.shape[axis]), axis)
    steps = [low + (high - low) * np.float32(k / step) for k in range(step)]
    shape = list(low.shape)
    shape[axis] *= step
    inner = np.stack(steps, axis + 1).reshape(shape)
    last = np.take(values, [values.shape[axis] - 1], axis)
    finer: GridValues = np.concatenate([inner, last], axis)
    return finer
