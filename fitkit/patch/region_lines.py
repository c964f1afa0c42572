"""One region of a form with its border and the tape lines that touch it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from fitkit.geometry.arrays import Bools, Floats, Ints
from fitkit.geometry.surface_cut import split_vertices
from fitkit.geometry.topology import opposite_half_edges
from fitkit.patch.lined_form import LinedForm
from fitkit.patch.patch import InnerLine, PatchEdge

__all__ = ["RegionLines"]


class RegionLines:
    """A region as a mesh of its own, its border edges, and the lines along and across it.

    Edges of a line that have the region on both sides are not border: a line that ends inside is
    only drawn on the patch. Where the region touches itself in a vertex it is parted, so that
    its border runs through every vertex at most once.

    Parameters
    ----------
    lined
        The form with all lines.
    region
        (F,) bool.
    """

    def __init__(self, lined: LinedForm, region: Bools) -> None:
        self.lined = lined
        part, self.form_vertex = lined.mesh.faces_only(region)
        keys = lined.keys[region].ravel()
        order = np.argsort(keys, kind="stable")
        ordered = keys[order]
        again = np.r_[False, ordered[1:] == ordered[:-1]]
        alone = ~again & ~np.r_[again[1:], False]
        # Directed edges at the border, the region on their left, and one per edge inside.
        border, inside = order[alone], order[again]
        corners = np.sort(part.faces.ravel()[border])
        if (corners[1:] == corners[:-1]).any():
            part, source = split_vertices(part, np.zeros(part.faces.shape, dtype=np.bool_))
            self.form_vertex = self.form_vertex[source]
        self.mesh = part
        starts = part.faces.ravel()
        ends = np.roll(part.faces, -1, axis=1).ravel()
        self._border_keys: Ints = keys[border]
        self._border_lines: Bools = lined.lines_along(self._border_keys)
        # By the vertex from which each border edge sets out.
        self._border_from = np.full(len(self.mesh.vertices), -1)
        self._border_from[starts[border]] = np.arange(len(border))
        self._border_to: Ints = ends[border]
        face_of = np.flatnonzero(region)
        self._border_half: Ints = 3 * face_of[border // 3] + border % 3
        self._inside_keys: Ints = keys[inside]
        self._inside_edges: Ints = np.column_stack([starts[inside], ends[inside]])
        self._lines_inside: Bools = np.asarray(lined.lines_along(self._inside_keys).any(axis=0))

    def length_mm(self, vertices: Ints) -> float:
        """Length of a chain of the region's vertices."""
        steps = np.diff(self.mesh.vertices[vertices], axis=0)
        return float(np.linalg.norm(steps, axis=1).sum())

    def border_lines(self) -> tuple[str, ...]:
        """Return the lines along which part of the border runs, in the order of the form's."""
        along: Bools = np.asarray(self._border_lines.any(axis=0))
        return tuple(line for line, here in zip(self.lined.lines, along, strict=True) if here)

    def off_lines_mm(self, lines: Sequence[str]) -> Floats | None:
        """(3,) float mm: a place where the border runs along none of the lines, None without."""
        on: Bools = np.asarray(self._border_lines[:, self.lined.columns(lines)].any(axis=1))
        if on.all():
            return None
        starts = np.flatnonzero(self._border_from >= 0)
        place: Floats = self.mesh.vertices[starts[~on[self._border_from[starts]]][0]]
        return place

    def meets_another_line(self, vertex: int, line: str) -> bool:
        """Whether a vertex lies on the border or on a line besides the one told."""
        on = self.lined.on_vertex[:, self.form_vertex[vertex]]
        return bool(self._border_from[vertex] >= 0 or on.sum() > on[self.lined.lines.index(line)])

    def faces_beyond(self, vertices: Ints) -> Ints:
        """(N - 1,) int: the form's face across each edge of a chain along the border, or -1."""
        half = self._border_half[self._border_from[vertices[:-1]]]
        opposite = opposite_half_edges(self.lined.mesh)[half]
        faces: Ints = np.where(opposite >= 0, opposite // 3, -1)
        return faces

    # -- border -----------------------------------------------------------------------------

    def loops(
        self, boundary: Sequence[str], seams: Sequence[str]
    ) -> tuple[tuple[PatchEdge, ...], ...]:
        """Border loops, longest first, each parted where the line changes."""
        rounds = sorted(self._rounds(), key=lambda r: -self.length_mm(np.r_[r, r[0]]))
        return tuple(self._edges(vertices, boundary, seams) for vertices in rounds)

    def _rounds(self) -> list[Ints]:
        edge_from, ends = self._border_from.tolist(), self._border_to.tolist()
        waiting = np.flatnonzero(self._border_from >= 0).tolist()
        seen: set[int] = set()
        rounds = []
        for start in waiting:
            if start in seen:
                continue
            vertices = [start]
            while (step := ends[edge_from[vertices[-1]]]) != start:
                vertices.append(step)
            seen.update(vertices)
            rounds.append(np.array(vertices))
        return rounds

    def _edges(
        self, vertices: Ints, boundary: Sequence[str], seams: Sequence[str]
    ) -> tuple[PatchEdge, ...]:
        owners = self._border_lines[self._border_from[vertices]][:, self.lined.columns(boundary)]
        names = [boundary[owner] for owner in _owner_of_each(owners)]
        count = len(vertices)
        corners = [i for i in range(count) if names[i] != names[i - 1]]
        if not corners:
            start = self._start_of_round(vertices, names[0], seams)
            chain = np.roll(vertices, -start)
            return (self._edge(names[0], np.r_[chain, chain[0]]),)
        first = min(corners, key=lambda i: (boundary.index(names[i]), i))
        turn = corners.index(first)
        corners = [*corners[turn:], *corners[:turn]]
        edges = []
        for here, there in zip(corners, [*corners[1:], corners[0]], strict=True):
            steps = (there - here) % count
            edges.append(self._edge(names[here], vertices[(here + np.arange(steps + 1)) % count]))
        return tuple(edges)

    def _start_of_round(self, vertices: Ints, name: str, seams: Sequence[str]) -> int:
        """Where a border along one single line begins: at a seam, else at another line."""
        meeting = self.lined.on_vertex[:, self.form_vertex[vertices]]
        others = [line for line in self.lined.lines if line not in (name, *seams)]
        for column in self.lined.columns([*seams, *others]):
            meets = np.flatnonzero(meeting[column])
            if len(meets):
                return int(meets[0])
        return 0

    def _edge(self, name: str, vertices: Ints) -> PatchEdge:
        meeting = self.lined.on_vertex[:, self.form_vertex[vertices]]
        closed = vertices[0] == vertices[-1]
        marks: list[tuple[int, str]] = []
        for column in np.flatnonzero(meeting.any(axis=1)).tolist():
            line = self.lined.lines[column]
            if line == name:
                continue
            meets = meeting[column].copy()
            if closed:
                meets[-1] = False
            # Of a stretch that a line shares with the edge only the ends are marked.
            before, after = np.r_[False, meets[:-1]], np.r_[meets[1:], False]
            marks += [(int(i), line) for i in np.flatnonzero(meets & ~(before & after))]
        return PatchEdge(name, vertices, tuple(sorted(marks)))

    # -- inside -----------------------------------------------------------------------------

    def inner_lines(self) -> tuple[InnerLine, ...]:
        """Stretches of lines inside, each from border to border or to where the line ends."""
        lines = []
        for column in np.flatnonzero(self._lines_inside).tolist():
            line = self.lined.lines[column]
            lines += [InnerLine(line, vertices) for vertices in self._stretches(line)]
        return tuple(lines)

    def _stretches(self, line: str) -> list[Ints]:
        chain, keys = self.lined.chains[line], self.lined.chain_keys[line]
        place = np.minimum(np.searchsorted(self._inside_keys, keys), len(self._inside_keys) - 1)
        inside = self._inside_keys[place] == keys
        steps = self._inside_edges[place]
        backward = self.form_vertex[steps[:, 0]] != chain[:-1]
        steps[backward] = steps[backward][:, ::-1]
        # A stretch ends where the line leaves the region or touches its border.
        at_border = self._border_from[steps[:, 0]] >= 0
        order = np.arange(len(keys))
        breaks = ~inside | at_border
        if chain[0] == chain[-1] and breaks.any():
            order = np.roll(order, -int(np.argmax(breaks)))
        inside, at_border, steps = inside[order], at_border[order], steps[order]
        starts = np.flatnonzero(inside & (at_border | ~np.r_[False, inside[:-1]]))
        ends = np.flatnonzero(inside & np.r_[(~inside | at_border)[1:], True])
        return [
            np.r_[steps[start : end + 1, 0], steps[end, 1]]
            for start, end in zip(starts, ends, strict=True)
        ]


def _owner_of_each(owners: Bools) -> Ints:
    """(N,) int: the line of each border edge; where lines share one, that which goes on longer.

    ``owners`` is (N, L) bool: the lines along each edge of a round.
    """
    count = len(owners)
    alone = owners.sum(axis=1) == 1
    if alone.all():
        lines: Ints = owners.argmax(axis=1)
        return lines
    # Start where only one line can be meant, so that a shared stretch is seen whole.
    start = int(np.argmax(alone))
    chosen = np.zeros(count, dtype=np.int64)
    current = -1
    for i in range(start, start + count):
        at = i % count
        if current < 0 or not owners[at, current]:
            ahead = owners[(at + np.arange(count)) % count]
            reach = np.where(ahead.all(axis=0), count, np.argmin(ahead, axis=0))
            current = int(reach.argmax())
        chosen[at] = current
    return chosen
