"""Opening a patch that goes right round, so that it can lie flat."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from fitkit.errors import DesignError
from fitkit.geometry.arrays import Floats, Ints
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.surface_cut import cut_along
from fitkit.geometry.topology import (
    boundary_loops,
    components,
    euler_characteristic,
    is_manifold,
)
from fitkit.patch.patch import InnerLine, Patch, PatchEdge

__all__ = ["SEAM", "BorderStretch", "OpenedPatch", "open_patch"]

SEAM = "seam"
"""What both sides of an opened seam are called as edges."""


@dataclass(frozen=True, slots=True, eq=False)
class BorderStretch:
    """A stretch of an opened patch's border.

    Attributes
    ----------
    line
        Name of its tape line, or ``"seam"``.
    vertices
        (N,) int: in order, the patch on the left; a whole round repeats its first vertex.
    arc_mm
        (N,) float: length along the form, counted on through the seam where the seam parts an
        edge, so that both parts of it still tell the same marks.
    neighbours
        ``(position in vertices, line)``.
    """

    line: str
    vertices: Ints
    arc_mm: Floats
    neighbours: tuple[tuple[int, str], ...]


@dataclass(frozen=True, slots=True, eq=False)
class OpenedPatch:
    """A patch as a disk: its mesh, its border once round, and the lines across it.

    ``seam_mm`` is the length of the seam that was opened, None where none was needed.
    """

    mesh: TriangleMesh
    border: tuple[BorderStretch, ...]
    inner_lines: tuple[InnerLine, ...]
    seam_mm: float | None = None

    @property
    def round(self) -> Ints:
        """(B,) int: the border once round, its first vertex not repeated."""
        return np.concatenate([stretch.vertices[:-1] for stretch in self.border])


def open_patch(patch: Patch, chain: Ints | None = None) -> OpenedPatch:
    """Return a patch as a disk, cut open along a seam where it goes right round.

    Parameters
    ----------
    chain
        (N,) int: the seam's vertices from one border to the other along edges of the mesh; needed
        for a sleeve, see :func:`fitkit.flatten.seam_line.seam_chain`.

    Raises
    ------
    DesignError
        When the patch is neither a disk nor a sleeve, or is in several pieces.
    """
    check_is_disk_or_sleeve(patch)
    if len(patch.loops) == 1:
        border = tuple(
            BorderStretch(
                edge.line, edge.vertices, _arc(patch.mesh, edge.vertices), edge.neighbours
            )
            for edge in patch.loops[0]
        )
        return OpenedPatch(patch.mesh, border, patch.inner_lines)
    if chain is None:
        raise DesignError(
            f"The patch '{patch.design.name}' goes right round and has no seam.",
            "Name a tape line that runs from one end of it to the other as its seam.",
        )
    return _cut_open(patch, chain)


def check_is_disk_or_sleeve(patch: Patch) -> None:
    """Raise DesignError unless the patch is one piece with one border or two, without handles."""
    name = patch.design.name
    if not is_manifold(patch.mesh):
        raise DesignError(
            f"The surface of the patch '{name}' meets itself along an edge.",
            "Draw its lines away from places where the form touches itself.",
        )
    pieces = len(np.unique(components(patch.mesh)))
    if pieces != 1:
        raise DesignError(
            f"The patch '{name}' is in {pieces} pieces.",
            "Make each piece a patch of its own.",
        )
    borders = len(patch.loops)
    if borders not in (1, 2):
        raise DesignError(
            f"The patch '{name}' has {borders} borders; one (a plate) or two (a sleeve) lie flat.",
            "Add a tape line that divides it into plates or sleeves."
            if borders
            else "Add tape lines round it: a closed surface cannot lie flat.",
        )
    euler = euler_characteristic(patch.mesh)
    if euler != 2 - borders:
        raise DesignError(
            f"The patch '{name}' has a handle or a pinched border (Euler characteristic {euler}, "
            f"expected {2 - borders}).",
            "Move its lines away from places where the form touches itself.",
        )


def _arc(mesh: TriangleMesh, chain: Ints) -> Floats:
    steps = np.linalg.norm(np.diff(mesh.vertices[chain], axis=0), axis=1)
    return np.concatenate([[0.0], np.cumsum(steps)])


def _edge_keys(pairs: Ints, count: int) -> Ints:
    keys: Ints = pairs.min(axis=1) * count + pairs.max(axis=1)
    return keys


def _cut_open(patch: Patch, chain: Ints) -> OpenedPatch:
    mesh, count = patch.mesh, len(patch.mesh.vertices)
    steps = np.stack([chain[:-1], chain[1:]], axis=1)
    seam_keys = _edge_keys(steps, count)
    opened, source = cut_along(mesh, chain)
    label = {
        (int(a), int(b)): (loop, number, place)
        for loop, edges in enumerate(patch.loops)
        for number, edge in enumerate(edges)
        for place, (a, b) in enumerate(zip(edge.vertices[:-1], edge.vertices[1:], strict=True))
    }
    forward = {(int(a), int(b)): i for i, (a, b) in enumerate(steps)}
    rings = boundary_loops(opened)
    if len(rings) != 1:
        raise DesignError(
            f"Cut along its seam the patch '{patch.design.name}' has {len(rings)} borders.",
            "Choose a seam that runs once from one end of the patch to the other.",
        )
    ring = rings[0]
    ends = zip(source[ring].tolist(), source[np.roll(ring, -1)].tolist(), strict=True)
    ring = np.roll(ring, -next(i for i, pair in enumerate(ends) if forward.get(pair) == 0))
    tour = [*ring.tolist(), int(ring[0])]

    # Runs of the tour that stay on one edge of the patch; -1 is the seam going, -2 coming back.
    tags: list[tuple[int, int]] = []
    for a, b in pairwise(tour):
        pair = (int(source[a]), int(source[b]))
        found = label.get(pair)
        if found is not None:
            tags.append(found[:2])
        else:
            tags.append((-1, 0) if pair in forward else (-2, 0))
    starts = [0] + [i for i in range(1, len(tags)) if tags[i] != tags[i - 1]]
    stretches = []
    for begin, end in zip(starts, [*starts[1:], len(tags)], strict=True):
        run = np.array(tour[begin : end + 1])
        loop, number = tags[begin]
        if loop < 0:
            stretches.append(BorderStretch(SEAM, run, _arc(opened, run), ()))
        else:
            first = label[int(source[run[0]]), int(source[run[1]])][2]
            stretches.append(_part_of_edge(patch.loops[loop][number], first, run, mesh))
    return OpenedPatch(
        opened,
        _with_seam_ends(stretches),
        _inner_lines_after_cut(patch.inner_lines, seam_keys, opened, source, count),
        float(_arc(mesh, chain)[-1]),
    )


def _part_of_edge(edge: PatchEdge, first: int, run: Ints, mesh: TriangleMesh) -> BorderStretch:
    """Return the part of an edge that starts at its vertex ``first``, as renumbered in ``run``."""
    whole = len(edge.vertices) - 1
    steps = len(run) - 1
    arc = _arc(mesh, edge.vertices)
    closed = edge.vertices[0] == edge.vertices[-1]
    if closed:
        # A whole round is counted from the seam: its own first vertex is no corner.
        turned = np.roll(edge.vertices[:-1], -first)
        arc_here = _arc(mesh, np.append(turned, turned[0]))[: steps + 1]
        places = {((at - first) % whole, line) for at, line in edge.neighbours}
        places |= {(whole, line) for at, line in places if at == 0}
    else:
        arc_here = arc[first : first + steps + 1]
        places = {(at - first, line) for at, line in edge.neighbours}
    kept = tuple(sorted((at, line) for at, line in places if 0 <= at <= steps))
    return BorderStretch(edge.line, run, arc_here, kept)


def _with_seam_ends(stretches: Sequence[BorderStretch]) -> tuple[BorderStretch, ...]:
    """Tell each seam side which line it ends on, and each border where the seam meets it."""
    result = []
    for i, stretch in enumerate(stretches):
        before, after = stretches[i - 1], stretches[(i + 1) % len(stretches)]
        last = len(stretch.vertices) - 1
        meets = list(stretch.neighbours)
        if stretch.line == SEAM:
            meets = [(0, before.line), (last, after.line)]
        else:
            if before.line == SEAM:
                meets.append((0, SEAM))
            if after.line == SEAM:
                meets.append((last, SEAM))
        result.append(
            BorderStretch(stretch.line, stretch.vertices, stretch.arc_mm, tuple(sorted(meets)))
        )
    return tuple(result)


def _inner_lines_after_cut(
    lines: Sequence[InnerLine], seam_keys: Ints, opened: TriangleMesh, source: Ints, count: int
) -> tuple[InnerLine, ...]:
    """Renumber the inner lines, drop what became the seam, part what crosses it."""
    f = opened.faces
    pairs = np.concatenate([f[:, [0, 1]], f[:, [1, 2]], f[:, [2, 0]]])
    renumbered = {
        (int(source[a]), int(source[b])): (int(a), int(b))
        for a, b in np.concatenate([pairs, pairs[:, ::-1]])
    }
    on_seam = set(seam_keys.tolist())
    result: list[InnerLine] = []
    for line in lines:
        run: list[int] = []
        for a, b in zip(line.vertices[:-1].tolist(), line.vertices[1:].tolist(), strict=True):
            here = renumbered.get((a, b))
            if here is None or min(a, b) * count + max(a, b) in on_seam:
                here = None
            if run and (here is None or here[0] != run[-1]):
                result.append(InnerLine(line.line, np.array(run)))
                run = []
            if here is not None:
                run = [*(run or [here[0]]), here[1]]
        if run:
            result.append(InnerLine(line.line, np.array(run)))
    return tuple(result)
