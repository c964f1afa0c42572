"""Where a patch is opened: along the lines the maker named, else the shortest ways across."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import igl
import numpy as np

from fitkit.errors import DesignError
from fitkit.geometry.arrays import Floats, Ints
from fitkit.geometry.geodesic import shortest_path
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.surface_cut import chain_keys, edge_keys, insert_paths, split_vertices
from fitkit.geometry.surface_point import SurfacePoint
from fitkit.geometry.topology import edges
from fitkit.patch.patch import InnerLine, Patch, PatchEdge

__all__ = ["SeamLine", "seam_lines"]


@dataclass(frozen=True, slots=True, eq=False)
class SeamLine:
    """A seam: its vertices (N,) from one border to another along edges, and its length.

    ``line`` is the tape line it runs along, None where it was chosen as the shortest way.
    """

    vertices: Ints
    length_mm: float
    line: str | None = None


def seam_lines(patch: Patch) -> tuple[Patch, tuple[SeamLine, ...]]:
    """Return a patch and the seams that make one border of all it has: one fewer than those.

    Named lines are taken first, then the shortest way from the borders joined so far to the
    nearest of the others, and so on. The patch comes back with more vertices where a seam had to
    be drawn through its triangles.

    Raises
    ------
    DesignError
        When a seam that the maker named does not run from border to border.
    """
    joined = _Joined(len(patch.loops))
    seams: list[SeamLine] = []
    for name in patch.design.seams if len(patch.loops) > 1 else ():
        seams += _along_named(patch, name, joined)
    while not joined.all():
        patch, seams = _with_shortest(patch, seams, joined)
    return patch, tuple(seams)


class _Joined:
    """Which borders hang together through the seams so far."""

    def __init__(self, count: int) -> None:
        self.group = list(range(count))

    def all(self) -> bool:
        return len(set(self.group)) <= 1

    def join(self, a: int, b: int) -> bool:
        """Join two borders; whether they hung together already is told by False."""
        keep, gone = self.group[a], self.group[b]
        self.group = [keep if g == gone else g for g in self.group]
        return keep != gone


def _rims(patch: Patch) -> list[Ints]:
    return [np.concatenate([edge.vertices[:-1] for edge in loop]) for loop in patch.loops]


def _along_named(patch: Patch, name: str, joined: _Joined) -> list[SeamLine]:
    """Return the parts of a named line that join borders, shortest first."""
    rims = _rims(patch)
    parts = [
        SeamLine(part, _length_mm(patch.mesh, part), name)
        for line in patch.inner_lines
        if line.line == name
        for part in _from_rim_to_rim(line.vertices, rims)
    ]
    parts.sort(key=lambda part: part.length_mm)
    if not parts:
        inner = sorted({line.line for line in patch.inner_lines})
        raise DesignError(
            f"The seam '{name}' of the patch '{patch.design.name}' does not run across it from "
            "one border to another.",
            f"Name one of the lines that cross it ({', '.join(inner)}), or lay one that does."
            if inner
            else "Lay a tape line that runs across it, or leave the seam out to have one chosen.",
        )
    return [part for part in parts if joined.join(*_ends_on(part.vertices, rims))]


def _ends_on(chain: Ints, rims: Sequence[Ints]) -> tuple[int, int]:
    first, last = (
        next(number for number, rim in enumerate(rims) if chain[end] in rim) for end in (0, -1)
    )
    return first, last


def _length_mm(mesh: TriangleMesh, chain: Ints) -> float:
    return float(np.linalg.norm(np.diff(mesh.vertices[chain], axis=0), axis=1).sum())


def _from_rim_to_rim(chain: Ints, rims: Sequence[Ints]) -> list[Ints]:
    """Return the parts of a chain that run from one border to another with nothing between."""
    on = np.full(len(chain), -1)
    for number, rim in enumerate(rims):
        on[np.isin(chain, rim)] = number
    touching = np.flatnonzero(on >= 0)
    return [chain[a : b + 1] for a, b in pairwise(touching.tolist()) if on[a] != on[b]]


def _with_shortest(
    patch: Patch, seams: Sequence[SeamLine], joined: _Joined
) -> tuple[Patch, list[SeamLine]]:
    """Draw the shortest way from any other border to the longest one and what is joined to it.

    References
    ----------
    J. S. B. Mitchell, D. M. Mount, C. H. Papadimitriou, *The discrete geodesic problem*, SIAM
    Journal on Computing 16(4), 1987, 10.1137/0216045 (distances between the borders).
    """
    mesh, rims = patch.mesh, _rims(patch)
    inside = [number for number, group in enumerate(joined.group) if group == joined.group[0]]
    at_hand = np.sort(np.concatenate([rims[number] for number in inside]))
    others = np.sort(
        np.concatenate([rim for number, rim in enumerate(rims) if number not in inside])
    )
    # Opened along the seams so far, so that no way leads across one; the faces stay the same.
    on_seams = [chain_keys(mesh, seam.vertices) for seam in seams]
    parted, source = split_vertices(mesh, np.isin(edge_keys(mesh), np.concatenate([[], *on_seams])))
    near, far = (np.flatnonzero(np.isin(source, rim)) for rim in (others, at_hand))
    goal = far[_nearest(parted, near, far)]
    start = near[_nearest(parted, np.array([goal]), near)]
    straight = shortest_path(
        parted, _surface_point(parted, int(start)), _surface_point(parted, int(goal))
    )
    cut = insert_paths(mesh, [straight])
    count = len(mesh.vertices)
    parts = [
        part
        for part in _from_rim_to_rim(cut.chains[0], rims)
        if len({number in inside for number in _ends_on(part, rims)}) == 2
    ]
    if not parts:
        raise DesignError(
            f"No way across the patch '{patch.design.name}' was found to open it along.",
            "Name a tape line that runs from one border of it to another as its seam.",
        )
    found = min(
        (SeamLine(part, _length_mm(cut.mesh, part)) for part in parts),
        key=lambda seam: seam.length_mm,
    )
    joined.join(*_ends_on(found.vertices, rims))
    before = [replace(s, vertices=_resplit(s.vertices, cut.mesh, count)) for s in seams]
    new_lines = tuple(
        InnerLine(line.line, _resplit(line.vertices, cut.mesh, count)) for line in patch.inner_lines
    )
    new_loops = tuple(
        tuple(_resplit_edge(edge, cut.mesh, count) for edge in loop) for loop in patch.loops
    )
    opened = replace(patch, mesh=cut.mesh, loops=new_loops, inner_lines=new_lines)
    return opened, [*before, found]


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
