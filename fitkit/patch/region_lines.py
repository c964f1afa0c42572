"""One region of a form with its border and the tape lines that touch it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from fitkit.geometry.arrays import Bools, Ints
from fitkit.geometry.surface_cut import chain_keys, split_vertices
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
        part, used = lined.mesh.faces_only(region)
        self.mesh, source = split_vertices(part, np.zeros(part.faces.shape, dtype=np.bool_))
        self._form_vertex: Ints = used[source]
        keys = lined.keys[region].ravel()
        order = np.argsort(keys, kind="stable")
        _, first, count = np.unique(keys[order], return_index=True, return_counts=True)
        starts = self.mesh.faces.ravel()
        ends = np.roll(self.mesh.faces, -1, axis=1).ravel()
        # Directed edges at the border, the region on their left, and one per edge inside.
        border, inside = order[first[count == 1]], order[first[count > 1]]
        self._border_keys: Ints = keys[border]
        self._border_key_of = dict(zip(starts[border].tolist(), keys[border].tolist(), strict=True))
        self._next = dict(zip(starts[border].tolist(), ends[border].tolist(), strict=True))
        self._inside_keys: Ints = keys[inside]
        self._inside_edges: Ints = np.column_stack([starts[inside], ends[inside]])

    def length_mm(self, vertices: Ints) -> float:
        """Length of a chain of the region's vertices."""
        steps = np.diff(self.mesh.vertices[vertices], axis=0)
        return float(np.linalg.norm(steps, axis=1).sum())

    def has_border_on(self, line: str) -> bool:
        """Whether part of the border runs along a line."""
        return bool(np.isin(self._border_keys, self.lined.line_keys[line]).any())

    def is_border_of(self, lines: Sequence[str]) -> bool:
        """Whether all of the border runs along the lines."""
        return bool(np.isin(self._border_keys, self.lined.keys_of(lines)).all())

    # -- border -----------------------------------------------------------------------------

    def loops(self, boundary: Sequence[str], seam: str | None) -> tuple[tuple[PatchEdge, ...], ...]:
        """Border loops, longest first, each parted where the line changes."""
        rounds = sorted(self._rounds(), key=lambda r: -self.length_mm(np.array([*r, r[0]])))
        return tuple(self._edges(vertices, boundary, seam) for vertices in rounds)

    def _rounds(self) -> list[list[int]]:
        following = dict(self._next)
        rounds = []
        while following:
            start = min(following)
            vertices = [start]
            while (step := following.pop(vertices[-1])) != start:
                vertices.append(step)
            rounds.append(vertices)
        return rounds

    def _edges(
        self, vertices: list[int], boundary: Sequence[str], seam: str | None
    ) -> tuple[PatchEdge, ...]:
        names = self._names([self._border_key_of[vertex] for vertex in vertices], boundary)
        count = len(vertices)
        corners = [i for i in range(count) if names[i] != names[i - 1]]
        if not corners:
            start = self._start_of_round(vertices, names[0], seam)
            return (self._edge(names[0], [*vertices[start:], *vertices[:start], vertices[start]]),)
        first = min(corners, key=lambda i: (boundary.index(names[i]), i))
        turn = corners.index(first)
        corners = [*corners[turn:], *corners[:turn]]
        edges = []
        for here, there in zip(corners, [*corners[1:], corners[0]], strict=True):
            steps = (there - here) % count
            chain = [vertices[(here + i) % count] for i in range(steps + 1)]
            edges.append(self._edge(names[here], chain))
        return tuple(edges)

    def _names(self, keys: list[int], boundary: Sequence[str]) -> list[str]:
        """Line of each border edge; where lines share an edge, the one that goes on longer."""
        owners = {
            line: np.isin(np.array(keys), self.lined.line_keys[line]).tolist() for line in boundary
        }
        count = len(keys)

        def reach(line: str, at: int) -> int:
            return next((i for i in range(count) if not owners[line][(at + i) % count]), count)

        # Start where only one line can be meant, so that a shared stretch is seen whole.
        alone = [i for i in range(count) if sum(owner[i] for owner in owners.values()) == 1]
        start = alone[0] if alone else 0
        names = [""] * count
        current = ""
        for i in range(start, start + count):
            at = i % count
            if not current or not owners[current][at]:
                current = max(boundary, key=lambda line: reach(line, at))
            names[at] = current
        return names

    def _start_of_round(self, vertices: list[int], name: str, seam: str | None) -> int:
        """Where a border along one single line begins: at its seam, else at another line."""
        on_form = self._form_vertex[vertices]
        others = [line for line in self.lined.chains if line not in (name, seam)]
        for line in [*([seam] if seam is not None else []), *others]:
            meets = np.flatnonzero(np.isin(on_form, self.lined.chains[line]))
            if len(meets):
                return int(meets[0])
        return 0

    def _edge(self, name: str, vertices: list[int]) -> PatchEdge:
        on_form = self._form_vertex[vertices]
        closed = vertices[0] == vertices[-1]
        marks: list[tuple[int, str]] = []
        for line, chain in self.lined.chains.items():
            if line == name:
                continue
            meets = np.isin(on_form, chain)
            if closed:
                meets[-1] = False
            # Of a stretch that a line shares with the edge only the ends are marked.
            before, after = np.r_[False, meets[:-1]], np.r_[meets[1:], False]
            marks += [(int(i), line) for i in np.flatnonzero(meets & ~(before & after))]
        return PatchEdge(name, np.array(vertices), tuple(sorted(marks)))

    # -- inside -----------------------------------------------------------------------------

    def inner_lines(self) -> tuple[InnerLine, ...]:
        """Stretches of lines inside, each from border to border or to where the line ends."""
        lines = []
        for line, chain in self.lined.chains.items():
            lines += [InnerLine(line, vertices) for vertices in self._stretches(chain)]
        return tuple(lines)

    def _stretches(self, chain: Ints) -> list[Ints]:
        if len(self._inside_keys) == 0:
            return []
        keys = chain_keys(self.lined.mesh, chain)
        place = np.minimum(np.searchsorted(self._inside_keys, keys), len(self._inside_keys) - 1)
        inside = self._inside_keys[place] == keys
        if not inside.any():
            return []
        steps = self._inside_edges[place]
        backward = self._form_vertex[steps[:, 0]] != chain[:-1]
        steps[backward] = steps[backward][:, ::-1]
        # A stretch ends where the line leaves the region or touches its border.
        at_border = np.isin(steps[:, 0], np.fromiter(self._next, dtype=np.int64))
        order = np.arange(len(keys))
        breaks = ~inside | at_border
        if chain[0] == chain[-1] and breaks.any():
            order = np.roll(order, -int(np.argmax(breaks)))
        stretches: list[list[int]] = []
        previous_inside = False
        for i in order:
            if inside[i]:
                if not previous_inside or at_border[i]:
                    stretches.append([int(steps[i, 0])])
                stretches[-1].append(int(steps[i, 1]))
            previous_inside = bool(inside[i])
        return [np.array(stretch) for stretch in stretches]
