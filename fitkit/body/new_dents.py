"""Dents that a change of shape made: hollows deeper than before by more than the growth."""

from __future__ import annotations

import numpy as np
import scipy.sparse as sp

from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.topology import edges, vertex_adjacency

__all__ = ["new_dents_mm"]

# Root mean square of how far round a vertex is looked at.
_REACH_MM = 20.0
_MOST_STEPS = 150


def new_dents_mm(before: TriangleMesh, after: TriangleMesh) -> Floats:
    """(V,) float mm: how much deeper than before each vertex lies in a hollow; 0 where it does not.

    The depth of a hollow is how far a vertex lies, along its normal, below the mean of the
    surface about it (steps from vertex to vertex at random, so many that they lead 20 mm away);
    on flat and on rounded places it is zero. What was hollow may deepen as it grows as a whole.

    Parameters
    ----------
    before, after
        The same faces over shifted vertices.
    """
    links = sp.csr_array(vertex_adjacency(before)) + sp.eye_array(len(before.vertices))
    step = sp.csr_array(sp.diags_array(1.0 / np.asarray(links.sum(axis=1)).ravel()) @ links)
    pairs, _ = edges(before)
    ends = before.vertices[pairs]
    edge_mm = float(np.median(np.linalg.norm(ends[:, 0] - ends[:, 1], axis=1)))
    steps = int(np.clip(round((_REACH_MM / edge_mm) ** 2), 1, _MOST_STEPS))
    columns = np.column_stack(
        [before.vertices, after.vertices, _vertex_areas(before), _vertex_areas(after)]
    )
    about = columns
    for _ in range(steps):
        about = step @ about
    was = _depth(before, about[:, :3])
    now = _depth(after, about[:, 3:6])
    growth = np.sqrt(np.maximum(about[:, 7] / np.maximum(about[:, 6], 1e-12), 1.0))
    deeper: Floats = np.maximum(now - growth * was, 0.0)
    return deeper


def _depth(mesh: TriangleMesh, about: Floats) -> Floats:
    below = np.einsum("vi,vi->v", mesh.vertex_normals(), about - mesh.vertices)
    depth: Floats = np.maximum(below, 0.0)
    return depth


def _vertex_areas(mesh: TriangleMesh) -> Floats:
    areas = np.repeat(mesh.face_areas_mm2(), 3)
    count = len(mesh.vertices)
    return np.bincount(mesh.faces.ravel(), weights=areas, minlength=count).astype(np.float64)
