"""Where a sleeve is opened: along the line the maker named, else the shortest way across."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import igl
import numpy as np

from fitkit.errors import DesignError
from fitkit.geometry.arrays import Floats, Ints
from fitkit.geometry.geodesic import shortest_path
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.surface_cut import insert_paths
from fitkit.geometry.surface_point import SurfacePoint
from fitkit.geometry.topology import edges
from fitkit.patch.patch import InnerLine, Patch, PatchEdge

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
    """Return the patch with the shortest way between its borders drawn through its triangles.

    References
    ----------
    J. S. B. Mitchell, D. M. Mount, C. H. Papadimitriou, *The discrete geodesic problem*, SIAM
    Journal on Computing 16(4), 1987, 10.1137/0216045 (distances between the borders).
    """
    mesh = patch.mesh
    near, far = np.sort(rims[1]), np.sort(rims[0])
    goal = far[_nearest(mesh, near, far)]
    start = near[_nearest(mesh, np.array([goal]), near)]
    straight = shortest_path(
        mesh, _surface_point(mesh, int(start)), _surface_point(mesh, int(goal))
    )
    cut = insert_paths(mesh, [straight])
    count = len(mesh.vertices)
    parts = _from_rim_to_rim(cut.chains[0], rims)
    if not parts:
        raise DesignError(
            f"No way across the patch '{patch.design.name}' was found to open it along.",
            "Name a tape line that runs from one end of it to the other as its seam.",
        )
    new_lines = tuple(
        InnerLine(line.line, _resplit(line.vertices, cut.mesh, count)) for line in patch.inner_lines
    )
    new_loops = tuple(
        tuple(_resplit_edge(edge, cut.mesh, count) for edge in loop) for loop in patch.loops
    )
    opened = replace(patch, mesh=cut.mesh, loops=new_loops, inner_lines=new_lines)
    return opened, min(parts, key=lambda chain: _length_mm(cut.mesh, chain))


def _nearest(mesh: TriangleMesh, sources: Ints, targets: Ints) -> int:
    """Return which target is nearest to any source over the surface."""
    none = np.zeros(0, dtype=np.int64)
    distance = igl.exact_geodesic(mesh.vertices, mesh.faces, sources, none, targets, none)
    return int(np.argmin(distance))


def _resplit_edge(edge: PatchEdge, mesh: TriangleMesh, old_count: int) -> PatchEdge:
    """Return an edge over a mesh in which a line that touches it put vertices on it."""
    chain = _resplit(edge.vertices, mesh, old_count)
    if len(chain) == len(edge.vertices):
        return edge
    place = {int(v): at for at, v in reversed(list(enumerate(chain)))}
    last = len(edge.vertices) - 1
    meets = tuple(
        (len(chain) - 1 if at == last else place[int(edge.vertices[at])], line)
        for at, line in edge.neighbours
    )
    return PatchEdge(edge.line, chain, meets)


def _surface_point(mesh: TriangleMesh, vertex: int) -> SurfacePoint:
    face = int(np.flatnonzero((mesh.faces == vertex).any(axis=1))[0])
    return SurfacePoint(mesh.vertices[vertex], face)


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
