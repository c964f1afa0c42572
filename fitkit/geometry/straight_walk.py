"""Walking straight ahead over a mesh."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitkit.geometry.arrays import Bools, Floats, Ints
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.topology import opposite_half_edges

__all__ = ["Walks", "unit_normals", "walk_straight"]

_MOST_STEPS = 20_000


@dataclass(frozen=True, slots=True, eq=False)
class Walks:
    """Where straight walks ended.

    Attributes
    ----------
    points_mm
        (N, 3) float mm, on the mesh.
    faces
        (N,) int: the triangle of each end.
    whole
        (N,) bool: whether the walk got its whole length, not stopped by a border.
    """

    points_mm: Floats
    faces: Ints
    whole: Bools


def unit_normals(mesh: TriangleMesh, faces: Ints) -> Floats:
    """(N, 3) float, unit: outward normals of some faces."""
    a, b, c = np.moveaxis(mesh.vertices[mesh.faces[faces]], 1, 0)
    normals = np.cross(b - a, c - a)
    unit: Floats = normals / np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-300)
    return unit


def walk_straight(mesh: TriangleMesh, points_mm: Floats, faces: Ints, ways: Floats) -> Walks:
    """Walk from places on a mesh straight ahead, each by the length of its way.

    In a triangle the walk is a straight line, and over an edge it goes on as it would if the
    two triangles lay in one plane: a straightest geodesic. All walks go ahead together, one
    triangle at a time.

    Parameters
    ----------
    points_mm, faces
        (N, 3) float mm and (N,) int: starts and the triangles they lie in.
    ways
        (N, 3) float mm: direction and length; the part square to the triangle is left out.

    References
    ----------
    Polthier & Schmies 1998, "Straightest geodesics on polyhedral surfaces", in Mathematical
    Visualization, Springer.
    """
    opposite = opposite_half_edges(mesh)
    places = np.array(points_mm, dtype=np.float64)
    at = np.array(faces, dtype=np.int64)
    left = np.linalg.norm(ways, axis=1)
    normals = unit_normals(mesh, at)
    ahead = ways - np.einsum("ni,ni->n", ways, normals)[:, None] * normals
    ahead /= np.maximum(np.linalg.norm(ahead, axis=1, keepdims=True), 1e-300)
    whole = np.ones(len(at), dtype=np.bool_)
    going = np.flatnonzero(left > 0)
    for _ in range(_MOST_STEPS):
        if len(going) == 0:
            break
        corners = mesh.vertices[mesh.faces[at[going]]]
        edges = np.roll(corners, -1, axis=1) - corners
        normals = unit_normals(mesh, at[going])
        outward = np.cross(edges, normals[:, None])
        closing = np.einsum("nki,ni->nk", outward, ahead[going])
        room = np.einsum("nki,nki->nk", outward, corners - places[going, None])
        size = np.linalg.norm(outward, axis=2)
        leaves = closing > 1e-9 * size
        reach = np.where(leaves, np.maximum(room, 0.0) / np.where(leaves, closing, 1.0), np.inf)
        side = reach.argmin(axis=1)
        step = reach[np.arange(len(going)), side]
        ends = ~(step < left[going])
        step = np.where(ends, left[going], step)
        places[going] += step[:, None] * ahead[going]
        left[going] -= step
        on = going[~ends]
        half = opposite[3 * at[on] + side[~ends]]
        stopped = half < 0
        whole[on[stopped]] = False
        along = edges[~ends, side[~ends]][~stopped]
        across = outward[~ends, side[~ends]][~stopped]
        on, half = on[~stopped], half[~stopped]
        along = along / np.linalg.norm(along, axis=1, keepdims=True)
        across = across / np.linalg.norm(across, axis=1, keepdims=True)
        at[on] = half // 3
        # Beyond the edge, which runs the other way there, inwards is normal x edge.
        inward = np.cross(unit_normals(mesh, at[on]), -along)
        ahead[on] = (
            np.einsum("ni,ni->n", ahead[on], along)[:, None] * along
            + np.einsum("ni,ni->n", ahead[on], across)[:, None] * inward
        )
        going = on
    whole[going] = False
    return Walks(places, at, whole)
