"""How the faces of a mesh hang together: borders, pieces, closedness."""

from __future__ import annotations

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from fitkit.errors import MeshError
from fitkit.geometry.arrays import Bools, Floats, Ints
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.remembered import remembered

__all__ = [
    "border_vertices",
    "boundary_loops",
    "components",
    "edges",
    "euler_characteristic",
    "is_closed",
    "is_manifold",
    "largest_component",
    "opposite_half_edges",
    "vertex_adjacency",
]

# A half-edge is a face's side, taken in the face's own turning sense: half-edge 3 f + k
# runs from corner k of face f to the next corner and has the face on its left.


def _half_edges(mesh: TriangleMesh) -> tuple[Ints, Ints]:
    """Return start and end vertex of every half-edge, (3 F,) int each."""
    return mesh.faces.ravel(), np.roll(mesh.faces, -1, axis=1).ravel()


@remembered
def edges(mesh: TriangleMesh) -> tuple[Ints, Ints]:
    """Return every edge once and how many faces share it.

    Returns
    -------
    edges
        (E, 2) int, the lower vertex first.
    count
        (E,) int.
    """
    start, end = _half_edges(mesh)
    vertex_count = len(mesh.vertices)
    low, high = np.minimum(start, end), np.maximum(start, end)
    keys, count = np.unique(low * vertex_count + high, return_counts=True)
    pairs: Ints = np.stack(np.divmod(keys, max(vertex_count, 1)), axis=1)
    return _kept(pairs), _kept(count.astype(np.int64))


@remembered
def opposite_half_edges(mesh: TriangleMesh) -> Ints:
    """Return for every half-edge ``3 f + k`` the one that runs back along it, -1 at a border.

    Returns
    -------
    opposite
        (3 F,) int.

    Raises
    ------
    MeshError
        When two faces run along one edge in the same sense.
    """
    start, end = _half_edges(mesh)
    vertex_count = len(mesh.vertices)
    forward = start * vertex_count + end
    order = np.argsort(forward, kind="stable")
    ordered = forward[order]
    doubled = int((ordered[1:] == ordered[:-1]).sum())
    if doubled:
        raise MeshError(
            f"{doubled} edges of the mesh have two faces on the same side.",
            "Repair the mesh so that each edge joins at most two faces wound alike.",
        )
    backward = end * vertex_count + start
    place = np.minimum(np.searchsorted(ordered, backward), len(ordered) - 1)
    opposite: Ints = np.where(ordered[place] == backward, order[place], -1)
    return _kept(opposite)


def _kept(numbers: Ints) -> Ints:
    numbers.flags.writeable = False
    return numbers


@remembered
def border_vertices(mesh: TriangleMesh) -> Bools:
    """(V,) bool: the vertices at the end of an edge that has one face only."""
    pairs, count = edges(mesh)
    at_border: Bools = np.zeros(len(mesh.vertices), dtype=np.bool_)
    at_border[pairs[count == 1]] = True
    return at_border


def boundary_loops(mesh: TriangleMesh) -> tuple[Ints, ...]:
    """Return the borders, each a ring of vertices with the mesh on its left, longest first.

    Where two borders touch in one vertex they stay two loops, or one that visits the
    vertex twice, whichever keeps the faces on the left.

    Returns
    -------
    loops
        (N,) int each; the first vertex is not repeated. "Longest" is in millimetres.

    Raises
    ------
    MeshError
        When two faces run along one edge in the same sense.
    """
    opposite = opposite_half_edges(mesh)
    start, _ = _half_edges(mesh)
    border = np.flatnonzero(opposite < 0)
    waiting = dict.fromkeys(border.tolist())
    loops: list[Ints] = []
    while waiting:
        first = next(iter(waiting))
        ring: list[int] = []
        half = first
        while True:
            del waiting[half]
            ring.append(int(start[half]))
            # Turn round the end vertex, face by face, to the border half-edge leaving it.
            half = _next_in_face(half)
            while opposite[half] >= 0:
                half = _next_in_face(int(opposite[half]))
            if half == first:
                break
        loops.append(np.array(ring, dtype=np.int64))

    def length_mm(ring: Ints) -> float:
        points = mesh.vertices[ring]
        return float(np.linalg.norm(points - np.roll(points, -1, axis=0), axis=1).sum())

    return tuple(sorted(loops, key=length_mm, reverse=True))


def _next_in_face(half: int) -> int:
    return half - 2 if half % 3 == 2 else half + 1


def components(mesh: TriangleMesh) -> Ints:
    """Return per face the number of the piece it belongs to; pieces share no edge.

    Returns
    -------
    labels
        (F,) int, numbered from 0 in order of each piece's first face.
    """
    face_count = len(mesh.faces)
    start, end = _half_edges(mesh)
    keys = np.minimum(start, end) * len(mesh.vertices) + np.maximum(start, end)
    order = np.argsort(keys, kind="stable")
    same = keys[order][1:] == keys[order][:-1]
    face = order // 3
    graph = coo_array(
        (np.ones(int(same.sum()), dtype=np.int8), (face[:-1][same], face[1:][same])),
        shape=(face_count, face_count),
    )
    _, raw = connected_components(graph, directed=False)
    _, first, labels = np.unique(raw, return_index=True, return_inverse=True)
    rank = np.empty(len(first), dtype=np.int64)
    rank[np.argsort(first)] = np.arange(len(first))
    numbered: Ints = rank[labels]
    return numbered


def largest_component(mesh: TriangleMesh) -> TriangleMesh:
    """Return the piece with the greatest area, without the vertices it does not use."""
    labels = components(mesh)
    areas = np.bincount(labels, weights=mesh.face_areas_mm2())
    return mesh.faces_only(labels == int(np.argmax(areas)))[0]


def is_manifold(mesh: TriangleMesh) -> bool:
    """Return whether every edge has one or two faces, and two of them are wound alike."""
    try:
        opposite_half_edges(mesh)
    except MeshError:
        return False
    _, count = edges(mesh)
    return bool((count <= 2).all())


def is_closed(mesh: TriangleMesh) -> bool:
    """Return whether every edge joins exactly two faces wound alike; false without faces."""
    return len(mesh.faces) > 0 and is_manifold(mesh) and bool((edges(mesh)[1] == 2).all())


def euler_characteristic(mesh: TriangleMesh) -> int:
    """Return vertices in use - edges + faces: 2 for a sphere, 1 for a disc, 0 for a sleeve."""
    used: Bools = np.zeros(len(mesh.vertices), dtype=np.bool_)
    used[mesh.faces.ravel()] = True
    return int(used.sum()) - len(edges(mesh)[0]) + len(mesh.faces)


def vertex_adjacency(mesh: TriangleMesh, weights: Floats | None = None) -> coo_array:
    """Return the symmetric (V, V) matrix with a one, or the edge's weight, per edge.

    ``weights`` is (E,) in the order of :func:`edges`.
    """
    pairs, _ = edges(mesh)
    values = np.ones(len(pairs)) if weights is None else weights
    return coo_array(
        (
            np.concatenate([values, values]),
            (pairs.T.ravel(), pairs[:, ::-1].T.ravel()),
        ),
        shape=(len(mesh.vertices), len(mesh.vertices)),
    )
