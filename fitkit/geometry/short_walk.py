"""Short walks over a mesh from vertex to vertex, along edges and straight across pairs of faces."""

from __future__ import annotations

import numpy as np
from scipy.sparse import coo_array, csr_array
from scipy.sparse.csgraph import dijkstra

from fitkit.geometry.arrays import Bools, Floats, Ints

__all__ = ["short_walk"]


def short_walk(
    vertices_mm: Floats, faces: Ints, start: int, end: int, *, longest_mm: float
) -> Ints:
    """Return the vertices of the shortest such walk, none where it is longer than allowed.

    A step goes along an edge, or over an edge to the corner opposite, straight in the plane
    of the two faces laid flat. Such walks are a few percent longer than the shortest line, those
    along edges alone up to fifteen: which side of a bump is the shorter these tell far better.

    Parameters
    ----------
    vertices_mm, faces
        A mesh, edge-manifold.
    """
    # A walk no longer than this stays within the ellipsoid round its ends.
    a, b = vertices_mm[start], vertices_mm[end]
    reach = np.linalg.norm(vertices_mm - a, axis=1) + np.linalg.norm(vertices_mm - b, axis=1)
    inside: Bools = reach <= longest_mm
    within = faces[inside[faces].all(axis=1)]
    if len(within) == 0:
        return np.zeros(0, dtype=np.int64)
    graph = _steps(vertices_mm, within)
    length, before = dijkstra(
        graph, directed=False, indices=start, limit=longest_mm, return_predecessors=True
    )
    if not np.isfinite(length[end]):
        return np.zeros(0, dtype=np.int64)
    walk = [end]
    while walk[-1] != start:
        walk.append(int(before[walk[-1]]))
    return np.array(walk[::-1])


def _steps(vertices: Floats, faces: Ints) -> csr_array:
    """Graph of the steps, each once, weighted by its length in mm."""
    count = len(vertices)
    first, second, apex = (
        faces.ravel(),
        np.roll(faces, -1, axis=1).ravel(),
        np.roll(faces, 1, axis=1).ravel(),
    )
    low, high = np.minimum(first, second), np.maximum(first, second)
    keys = low * count + high
    order = np.argsort(keys, kind="stable")
    same = np.flatnonzero(keys[order][1:] == keys[order][:-1])
    once = np.r_[True, keys[order][1:] != keys[order][:-1]]
    ends = np.column_stack([low[order][once], high[order][once]])
    lengths = np.linalg.norm(vertices[ends[:, 0]] - vertices[ends[:, 1]], axis=1)
    one, other = apex[order[same]], apex[order[same + 1]]
    a, b = vertices[low[order[same]]], vertices[high[order[same]]]
    edge = np.maximum(np.linalg.norm(b - a, axis=1), 1e-12)
    along = [np.einsum("ni,ni->n", vertices[tip] - a, b - a) / edge for tip in (one, other)]
    off = [
        np.sqrt(
            np.maximum(np.einsum("ni,ni->n", vertices[tip] - a, vertices[tip] - a) - x * x, 0.0)
        )
        for tip, x in zip((one, other), along, strict=True)
    ]
    # Where the straight step crosses the edge's line, laid flat.
    share = off[0] / np.maximum(off[0] + off[1], 1e-12)
    cross = along[0] + share * (along[1] - along[0])
    straight = (cross > 0) & (cross < edge) & (one != other)
    steps = np.vstack([ends, np.column_stack([one, other])[straight]])
    weights = np.r_[lengths, np.hypot(along[1] - along[0], off[0] + off[1])[straight]]
    # Two pairs of faces may lead to the same corner: the shorter step counts.
    pairs = np.sort(steps, axis=1)
    pair_keys = pairs[:, 0] * count + pairs[:, 1]
    order = np.lexsort((weights, pair_keys))
    first_of = np.r_[True, pair_keys[order][1:] != pair_keys[order][:-1]]
    chosen = order[first_of]
    graph: csr_array = coo_array(
        (np.maximum(weights[chosen], 1e-12), (pairs[chosen, 0], pairs[chosen, 1])),
        shape=(count, count),
    ).tocsr()
    return graph
