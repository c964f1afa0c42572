"""Where a sleeve is opened: along the line the maker named, else the shortest way across."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import dijkstra

from fitkit.errors import DesignError
from fitkit.geometry.arrays import Floats, Ints
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.surface_cut import insert_paths
from fitkit.geometry.topology import edges
from fitkit.patch.patch import InnerLine, Patch

__all__ = ["seam_chain"]


def seam_chain(patch: Patch) -> tuple[Patch, Ints]:
    """Return a sleeve and its seam: the vertices from one border to the other, along edges.

    The patch comes back with more vertices where the seam had to be drawn through its triangles.

    Raises
    ------
    DesignError
        When the seam that the maker named does not run from border to border.
    """
    rims = [np.concatenate([edge.vertices[:-1] for edge in loop]) for loop in patch.loops]
    name = patch.design.seam
    if name is None:
        return _shortest_seam(patch, rims)
    found = [
        part
        for line in patch.inner_lines
        if line.line == name
        for part in _from_rim_to_rim(line.vertices, rims)
    ]
    if not found:
        inner = sorted({line.line for line in patch.inner_lines})
        raise DesignError(
            f"The seam '{name}' of the patch '{patch.design.name}' does not run across it from "
            "one border to the other.",
            f"Name one of the lines that cross it ({', '.join(inner)}), or lay one that does."
            if inner
            else "Lay a tape line that runs across it, or leave the seam out to have one chosen.",
        )
    return patch, min(found, key=lambda chain: _length_mm(patch.mesh, chain))


def _length_mm(mesh: TriangleMesh, chain: Ints) -> float:
    return float(np.linalg.norm(np.diff(mesh.vertices[chain], axis=0), axis=1).sum())


def _from_rim_to_rim(chain: Ints, rims: list[Ints]) -> list[Ints]:
    """Return the parts of a chain that run from one border to the other with nothing between."""
    on = np.full(len(chain), -1)
    for number, rim in enumerate(rims):
        on[np.isin(chain, rim)] = number
    touching = np.flatnonzero(on >= 0)
    return [chain[a : b + 1] for a, b in pairwise(touching.tolist()) if on[a] != on[b]]


def _shortest_seam(patch: Patch, rims: list[Ints]) -> tuple[Patch, Ints]:
    mesh = patch.mesh
    ends, _ = edges(mesh)
    length = np.linalg.norm(mesh.vertices[ends[:, 0]] - mesh.vertices[ends[:, 1]], axis=1)
    count = len(mesh.vertices)
    graph = coo_matrix((length, (ends[:, 0], ends[:, 1])), shape=(count, count)).tocsr()
    # The shorter border is looked from, whichever comes first where two ways are equally long.
    far, before, _ = dijkstra(
        graph, directed=False, indices=np.sort(rims[1]), min_only=True, return_predecessors=True
    )
    goal = np.sort(rims[0])
    chain = [int(goal[np.argmin(far[goal])])]
    while before[chain[-1]] >= 0:
        chain.append(int(before[chain[-1]]))
    along_edges = np.array(chain[::-1])
    return patch, along_edges


def _resplit(chain: Ints, mesh: TriangleMesh, old_count: int) -> Ints:
    """Return a chain over a mesh in which some of its edges were halved by a new vertex."""
    ends, _ = edges(mesh)
    beside: dict[int, set[int]] = {}
    for a, b in ends.tolist():
        beside.setdefault(a, set()).add(b)
        beside.setdefault(b, set()).add(a)
    result = [int(chain[0])]
    for a, b in zip(chain[:-1].tolist(), chain[1:].tolist(), strict=True):
        if b not in beside[a]:
            between = [v for v in beside[a] & beside[b] if v >= old_count]
            result.append(min(between, key=lambda v: _detour_mm(mesh.vertices, a, v, b)))
        result.append(b)
    return np.array(result)


def _detour_mm(points: Floats, a: int, v: int, b: int) -> float:
    return float(np.linalg.norm(points[v] - points[a]) + np.linalg.norm(points[b] - points[v]))
