"""A surface that passes through itself, as fingers do in a scan, given a new skin there."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from fitkit.geometry.arrays import Bools, Floats
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.nearest import nearest_on_mesh
from fitkit.geometry.solid_cut import boxed, united, without_box
from fitkit.geometry.topology import components
from fitkit.geometry.winding import winding_number

__all__ = ["ReskinnedMesh", "reskinned_overlaps"]

_INSIDE = 0.5
_STEP_MM = 0.02
_LEAST_MM2 = 40.0
_MARGIN_MM = 12.0
_SMALLEST_CELL_MM = 0.8
_MOST_NODES = 1.5e6
# The new skin reaches this much over the old one's cut edge, so that the two are one solid.
_OVER_MM = 0.5


@dataclass(frozen=True, slots=True, eq=False)
class ReskinnedMesh:
    """A surface that no longer passes through itself.

    Attributes
    ----------
    mesh
        Closed, wound outward; untouched off the places.
    places_mm
        (K, 3) float mm: the middles of the places that were given a new skin.
    hidden_mm2
        How much of the surface lay inside the body.
    """

    mesh: TriangleMesh
    places_mm: Floats
    hidden_mm2: float


def reskinned_overlaps(mesh: TriangleMesh) -> ReskinnedMesh:
    """Return the outer skin of a closed surface that passes through itself.

    Faces whose outside lies inside the body are hidden. In a box about each group of them a
    new skin is drawn where the winding number passes one half, and joined to the rest.

    Parameters
    ----------
    mesh
        Closed, one piece, wound outward.
    """
    hidden = _hidden(mesh)
    areas = mesh.face_areas_mm2()
    if areas[hidden].sum() < _LEAST_MM2:
        return ReskinnedMesh(mesh, np.zeros((0, 3)), 0.0)
    places = []
    found = mesh
    for low, high in _boxes(mesh, hidden):
        skin = boxed(_skin(mesh, low, high), low - _OVER_MM, high + _OVER_MM)
        found = united([without_box(found, low, high), skin])
        places.append(0.5 * (low + high))
    labels = components(found)
    if labels.max() > 0:
        kept = int(np.argmax(np.bincount(labels, weights=found.face_areas_mm2())))
        found = found.faces_only(labels == kept)[0]
    return ReskinnedMesh(found, np.array(places), float(areas[hidden].sum()))


def _hidden(mesh: TriangleMesh) -> Bools:
    """(F,) bool: whether the body goes on outside a face."""
    normals = mesh.face_normals_scaled()
    length = np.linalg.norm(normals, axis=1, keepdims=True)
    outside = mesh.corners.mean(axis=1) + _STEP_MM * normals / np.maximum(length, 1e-300)
    hidden: Bools = (winding_number(mesh, outside) > _INSIDE) & (length[:, 0] > 0)
    return hidden


def _boxes(mesh: TriangleMesh, hidden: Bools) -> list[tuple[Floats, Floats]]:
    """Return boxes that part from each other about all hidden faces."""
    corners = mesh.corners[hidden]
    low, high = corners.min(axis=1) - _MARGIN_MM, corners.max(axis=1) + _MARGIN_MM
    while True:
        meets = (low[:, None] < high[None]).all(axis=2) & (low[None] < high[:, None]).all(axis=2)
        number, label = connected_components(coo_array(meets), directed=False)
        if number == len(low):
            return list(zip(low, high, strict=True))
        low = np.array([low[label == k].min(axis=0) for k in range(number)])
        high = np.array([high[label == k].max(axis=0) for k in range(number)])


def _skin(mesh: TriangleMesh, low: Floats, high: Floats) -> TriangleMesh:
    """Return the body's skin about a box, as a solid that is closed a little outside the box."""
    from skimage import measure

    marching_cubes: Any = measure.marching_cubes
    cell = max(_SMALLEST_CELL_MM, float((np.prod(high - low) / _MOST_NODES) ** (1.0 / 3.0)))
    start = low - 3 * cell - _OVER_MM
    counts = np.ceil((high + 3 * cell + _OVER_MM - start) / cell).astype(int) + 1
    axes = [start[k] + cell * np.arange(counts[k]) for k in range(3)]
    nodes = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, 3)
    inside = winding_number(mesh, nodes) > _INSIDE
    away = nearest_on_mesh(mesh, nodes)[2]
    values = np.where(inside, -1.0, 1.0) * np.maximum(away, 1e-3 * cell)
    values = np.pad(values.reshape(counts), 1, constant_values=cell)
    points, faces, _, _ = marching_cubes(values, 0.0, spacing=(cell,) * 3)
    skin = TriangleMesh(points.astype(np.float64) + start - cell, faces.astype(np.int64))
    return skin if skin.volume_mm3() > 0 else TriangleMesh(skin.vertices, skin.faces[:, ::-1])
