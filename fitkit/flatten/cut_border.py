"""The border of a patch after relief cuts: its own edges, parted, and both sides of every cut."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from fitkit.errors import DesignError
from fitkit.flatten.edge_names import cut_edge_name, is_cut_edge
from fitkit.flatten.seam import BorderStretch, OpenedPatch
from fitkit.flatten.slit_disk import SlitDisk
from fitkit.geometry.arrays import Floats, Ints
from fitkit.geometry.topology import boundary_loops

__all__ = ["with_cut_border"]


def with_cut_border(disk: OpenedPatch, slit: SlitDisk) -> OpenedPatch:
    """Return a patch slit by cuts that do not go through, with its border once round.

    An edge that a cut parts counts its arc length on, so that both parts still tell the marks of
    the whole edge; one that goes right round is counted from a cut.

    Raises
    ------
    DesignError
        When the cuts leave more than one border.
    """
    rings = boundary_loops(slit.mesh)
    if len(rings) != 1:
        raise DesignError(
            f"The relief cuts of the patch leave {len(rings)} borders.",
            "Let each cut end inside the patch, clear of the others.",
        )
    stretch_of = _stretch_of_place(disk)
    forward = {
        (int(a), int(b)): number
        for number, chain in enumerate(slit.chains)
        for a, b in pairwise(chain.tolist())
    }
    place = dict(zip(slit.ring.tolist(), slit.place.tolist(), strict=True))
    ring = rings[0].tolist()
    tags = [
        _tag(slit, forward, place, stretch_of, a, b)
        for a, b in zip(ring, [*ring[1:], ring[0]], strict=True)
    ]
    # Begin behind the first cut, so that no edge is parted by where the walk happens to begin.
    begin = next(i for i, tag in enumerate(tags) if tag[0] == "edge" and tags[i - 1][0] != "edge")
    ring, tags = ring[begin:] + ring[:begin], tags[begin:] + tags[:begin]
    tour = [*ring, ring[0]]
    starts = [i for i in range(len(tags)) if i == 0 or tags[i] != tags[i - 1]]
    # Only a whole round by itself has no corner to count from.
    closed = len(disk.border) == 1
    turned = place[int(slit.before[ring[0]])] if closed else 0.0
    made = []
    for begin, end in zip(starts, [*starts[1:], len(tags)], strict=True):
        run = np.array(tour[begin : end + 1])
        kind, number = tags[begin]
        if kind == "edge":
            at = np.array([place[int(slit.before[v])] for v in run])
            made.append(_part(disk, number, run, at, turned))
        else:
            name = cut_edge_name(number + 1)
            points = slit.mesh.vertices[run]
            steps = np.linalg.norm(np.diff(points, axis=0), axis=1)
            made.append(BorderStretch(name, run, np.concatenate([[0.0], np.cumsum(steps)]), ()))
    return OpenedPatch(slit.mesh, _with_cut_ends(made), ())


def _stretch_of_place(disk: OpenedPatch) -> list[int]:
    return [
        number for number, stretch in enumerate(disk.border) for _ in stretch.vertices[:-1].tolist()
    ]


def _tag(
    slit: SlitDisk,
    forward: dict[tuple[int, int], int],
    place: dict[int, float],
    stretch_of: list[int],
    a: int,
    b: int,
) -> tuple[str, int]:
    pair = int(slit.before[a]), int(slit.before[b])
    if pair in forward:
        return "in", forward[pair]
    if pair[::-1] in forward:
        return "out", forward[pair[::-1]]
    return "edge", stretch_of[int(place[pair[0]])]


def _part(disk: OpenedPatch, number: int, run: Ints, at: Floats, turned: float) -> BorderStretch:
    """Return the part of a border stretch whose vertices are at these places of the old ring.

    A whole round is counted from ``turned`` on: its own first vertex is no corner.
    """
    stretch = disk.border[number]
    whole = len(stretch.vertices) - 1
    first = sum(len(one.vertices) - 1 for one in disk.border[:number])
    local = (at - first - turned) % len(disk.round)
    if local[-1] == 0.0:
        local[-1] = whole

    def arc_at(position: Floats) -> Floats:
        turns = np.floor(position / whole) if turned else np.zeros(len(position))
        along = np.interp(position - turns * whole, np.arange(whole + 1), stretch.arc_mm)
        found: Floats = along + turns * (stretch.arc_mm[-1] - stretch.arc_mm[0])
        return found

    arc = arc_at(local + turned)
    if turned:
        arc = arc - arc_at(np.array([turned]))
    place = {float(p): i for i, p in enumerate(local.tolist())}
    meets = {((p - turned) % whole if turned else float(p), line) for p, line in stretch.neighbours}
    meets |= {(float(whole), line) for p, line in meets if turned and p == 0.0}
    kept = tuple(sorted((place[p], line) for p, line in meets if p in place))
    return BorderStretch(stretch.line, run, arc, kept)


def _with_cut_ends(made: Sequence[BorderStretch]) -> tuple[BorderStretch, ...]:
    """Tell each edge which cuts part it, and each side of a cut which edge it begins on."""
    result = []
    for i, stretch in enumerate(made):
        before, after = made[i - 1], made[(i + 1) % len(made)]
        meets = set(stretch.neighbours)
        if not is_cut_edge(stretch.line) or before.line != stretch.line:
            meets.add((0, before.line))
        if not is_cut_edge(stretch.line) or after.line != stretch.line:
            meets.add((len(stretch.vertices) - 1, after.line))
        result.append(
            BorderStretch(stretch.line, stretch.vertices, stretch.arc_mm, tuple(sorted(meets)))
        )
    return tuple(result)
