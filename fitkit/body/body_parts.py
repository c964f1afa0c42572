"""The body taken apart at the shoulders and the crotch, each part closed by itself."""

from __future__ import annotations

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from fitkit.body.arm_weight import arm_weight
from fitkit.body.body import Body
from fitkit.body.side import Side
from fitkit.geometry.arrays import Ints
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.topology import edges

__all__ = ["body_parts"]


def body_parts(body: Body) -> tuple[TriangleMesh, ...]:
    """Return trunk, arms and legs, as far as they stand clear, as closed meshes.

    Where a part was taken off, a tent over the cut closes it; it lies inside the body.
    """
    label: Ints = np.zeros(len(body.mesh.faces), dtype=np.int64)
    middle = body.mesh.corners.mean(axis=1)
    crotch = body.landmarks.get("crotch")
    if crotch is not None:
        below = middle[:, 2] < crotch.at_mm[2]
        label[below] = np.where(middle[below, 0] > 0, 3, 4)
    for number, side in enumerate((Side.LEFT, Side.RIGHT), start=1):
        weight = arm_weight(body, side)
        if weight is not None:
            label[weight[body.mesh.faces].mean(axis=1) > 0.5] = number
    return tuple(_closed(body.mesh.faces_only(label == k)[0]) for k in np.unique(label))


def _closed(part: TriangleMesh) -> TriangleMesh:
    """Return a part with each of its borders closed by a tent over the border's middle."""
    ends, count = edges(part)
    rim = ends[count == 1]
    if len(rim) == 0:
        return part
    vertices = len(part.vertices)
    graph = coo_array((np.ones(len(rim)), (rim[:, 0], rim[:, 1])), shape=(vertices, vertices))
    loop = connected_components(graph, directed=False)[1]
    start, end = part.faces.ravel(), np.roll(part.faces, -1, axis=1).ravel()
    key = np.minimum(start, end) * vertices + np.maximum(start, end)
    bordering = np.isin(key, rim.min(axis=1) * vertices + rim.max(axis=1))
    start, end = start[bordering], end[bordering]
    loops, at = np.unique(loop[start], return_inverse=True)
    tips = [part.vertices[start[at == k]].mean(axis=0) for k in range(len(loops))]
    tent = np.column_stack([end, start, vertices + at])
    return TriangleMesh(np.vstack([part.vertices, tips]), np.vstack([part.faces, tent]))
