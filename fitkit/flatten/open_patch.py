"""Opening a patch along its seams, so that it can lie flat."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from fitkit.errors import DesignError
from fitkit.flatten.edge_names import is_seam, seam_name
from fitkit.flatten.seam import BorderStretch, OpenedPatch
from fitkit.geometry.arrays import Floats, Ints
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.surface_cut import chain_keys, edge_keys, split_vertices
from fitkit.geometry.topology import (
    boundary_loops,
    components,
    euler_characteristic,
    is_manifold,
)
from fitkit.patch.patch import InnerLine, Patch, PatchEdge

__all__ = ["check_can_be_opened", "open_patch"]

# A triangle's area over the mean that counts as none, as for the flat map itself.
_NO_AREA = 1e-14


def check_can_be_opened(patch: Patch) -> None:
    """Raise DesignError unless the patch is one sheet with a border, without handles."""
    name = patch.design.name
    areas = patch.mesh.face_areas_mm2()
    mean = float(areas.mean()) if len(areas) else 0.0
    flat = int((~(areas > _NO_AREA * mean)).sum())
    if len(areas) == 0 or flat:
        raise DesignError(
            f"The patch '{name}' has no area"
            + (f" in {flat} of its {len(areas)} triangles." if 0 < flat < len(areas) else "."),
            "Look whether two of its lines run into one, and move one of them; if they do not, "
            "repair the mesh that the body came from.",
        )
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
    if borders == 0:
        raise DesignError(
            f"The patch '{name}' has 0 borders.",
            "Add tape lines round it: a closed surface cannot lie flat.",
        )
    euler = euler_characteristic(patch.mesh)
    if euler != 2 - borders:
        raise DesignError(
            f"The patch '{name}' has a handle or a pinched border (Euler characteristic {euler}, "
            f"expected {2 - borders}).",
            "Move its lines away from places where the form touches itself.",
        )


def open_patch(patch: Patch, seams: Sequence[Ints] = ()) -> OpenedPatch:
    """Return a patch as a disk, cut open along seams where it has more than one border.

    Parameters
    ----------
    seams
        Per seam (N,) int: its vertices from one border to another along edges of the mesh, one
        less than there are borders; see :func:`fitkit.flatten.seam_line.seam_lines`.

    Raises
    ------
    DesignError
        When the patch cannot be opened at all, or these seams do not make one border of it.
    """
    check_can_be_opened(patch)
    mesh = patch.mesh
    if len(patch.loops) == 1:
        border = tuple(
            BorderStretch(edge.line, edge.vertices, _arc(mesh, edge.vertices), edge.neighbours)
            for edge in patch.loops[0]
        )
        return OpenedPatch(mesh, border, patch.inner_lines)
    keys = np.concatenate([chain_keys(mesh, chain) for chain in seams]) if seams else np.zeros(0)
    opened, source = split_vertices(mesh, np.isin(edge_keys(mesh), keys))
    rings = boundary_loops(opened)
    if len(seams) != len(patch.loops) - 1 or len(rings) != 1:
        raise DesignError(
            f"Cut along its seams the patch '{patch.design.name}' has {len(rings)} borders, not "
            "one.",
            "Choose seams that run from one of its borders to another and do not touch.",
        )
    return OpenedPatch(
        opened,
        _with_seam_ends(_stretches(patch, seams, opened, source, rings[0])),
        _inner_lines_after_cut(
            patch.inner_lines, set(keys.tolist()), opened, source, len(mesh.vertices)
        ),
    )


def _arc(mesh: TriangleMesh, chain: Ints) -> Floats:
    steps = np.linalg.norm(np.diff(mesh.vertices[chain], axis=0), axis=1)
    return np.concatenate([[0.0], np.cumsum(steps)])


def _stretches(
    patch: Patch, seams: Sequence[Ints], opened: TriangleMesh, source: Ints, ring: Ints
) -> list[BorderStretch]:
    """Return the border of the opened patch, from where its first seam sets out."""
    label = {
        (int(a), int(b)): (loop, number, place)
        for loop, edges in enumerate(patch.loops)
        for number, edge in enumerate(edges)
        for place, (a, b) in enumerate(pairwise(edge.vertices.tolist()))
    }
    seam_of = {
        pair: number
        for number, chain in enumerate(seams)
        for a, b in pairwise(chain.tolist())
        for pair in ((a, b), (b, a))
    }
    first = tuple(seams[0][:2].tolist())
    ends = zip(source[ring].tolist(), source[np.roll(ring, -1)].tolist(), strict=True)
    ring = np.roll(ring, -next(i for i, pair in enumerate(ends) if pair == first))
    tour = [*ring.tolist(), int(ring[0])]
    steps = [(int(source[a]), int(source[b])) for a, b in pairwise(tour)]

    # Runs of the tour that stay on one edge of the patch, or on one side of a seam (loop -1).
    tags = [label[pair][:2] if pair in label else (-1, seam_of[pair]) for pair in steps]
    starts = [0]
    for i in range(1, len(tags)):
        # At a seam's end on a border of no other vertex its two sides follow each other.
        turned = tags[i][0] < 0 and steps[i] == steps[i - 1][::-1]
        if tags[i] != tags[i - 1] or turned:
            starts.append(i)
    origins: dict[tuple[int, int], int] = {}
    made = []
    for begin, end in zip(starts, [*starts[1:], len(tags)], strict=True):
        run = np.array(tour[begin : end + 1])
        loop, number = tags[begin]
        if loop < 0:
            name = seam_name(number + 1, len(seams))
            made.append(BorderStretch(name, run, _arc(opened, run), ()))
        else:
            place = label[steps[begin]][2]
            # A whole round is counted from a seam: its own first vertex is no corner.
            origin = origins.setdefault((loop, number), place)
            made.append(_part_of_edge(patch.loops[loop][number], place, origin, run, patch.mesh))
    return made


def _part_of_edge(
    edge: PatchEdge, first: int, origin: int, run: Ints, mesh: TriangleMesh
) -> BorderStretch:
    """Return the part of an edge that starts at its vertex ``first``, as renumbered in ``run``.

    One that is a whole round is counted from its vertex ``origin``.
    """
    whole, steps = len(edge.vertices) - 1, len(run) - 1
    if edge.vertices[0] == edge.vertices[-1]:
        turned = np.roll(edge.vertices[:-1], -origin)
        arc = _arc(mesh, np.append(turned, turned[0]))
        first = (first - origin) % whole
        places = {((at - origin) % whole, line) for at, line in edge.neighbours}
        places |= {(whole, line) for at, line in places if at == 0}
    else:
        arc = _arc(mesh, edge.vertices)
        places = set(edge.neighbours)
    kept = sorted((at - first, line) for at, line in places if first <= at <= first + steps)
    return BorderStretch(edge.line, run, arc[first : first + steps + 1], tuple(kept))


def _with_seam_ends(stretches: Sequence[BorderStretch]) -> tuple[BorderStretch, ...]:
    """Tell each seam side which line it ends on, and each border where a seam meets it."""
    result = []
    for i, stretch in enumerate(stretches):
        before, after = stretches[i - 1], stretches[(i + 1) % len(stretches)]
        last = len(stretch.vertices) - 1
        meets = list(stretch.neighbours)
        if is_seam(stretch.line):
            meets = [(0, before.line), (last, after.line)]
        else:
            if is_seam(before.line):
                meets.append((0, before.line))
            if is_seam(after.line):
                meets.append((last, after.line))
        result.append(
            BorderStretch(stretch.line, stretch.vertices, stretch.arc_mm, tuple(sorted(meets)))
        )
    return tuple(result)


def _inner_lines_after_cut(
    lines: Sequence[InnerLine], on_seam: set[int], opened: TriangleMesh, source: Ints, count: int
) -> tuple[InnerLine, ...]:
    """Renumber the inner lines, drop what became a seam, part what crosses one."""
    f = opened.faces
    pairs = np.concatenate([f[:, [0, 1]], f[:, [1, 2]], f[:, [2, 0]]])
    renumbered = {
        (int(source[a]), int(source[b])): (int(a), int(b))
        for a, b in np.concatenate([pairs, pairs[:, ::-1]])
    }
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
