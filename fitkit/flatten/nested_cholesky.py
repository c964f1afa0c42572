"""A symmetric system with two unknowns a vertex, solved again and again over the same triangles.

The mesh is divided in halves by strips of vertices, the halves again, and so on; each piece is
eliminated before the strip that parts it from the next. What goes where is worked out once a mesh;
a solve then is dense arithmetic on small blocks.
"""

from __future__ import annotations

import numpy as np

from fitkit.geometry.arrays import Bools, Floats, Ints
from fitkit.geometry.compiled import compiled, compiled_fast
from fitkit.geometry.mesh import TriangleMesh

__all__ = ["NestedCholesky"]

# Vertices in a piece that is no longer divided.
_PIECE = 24
# A pivot is not let fall below this share of the mean of the diagonal.
_LEAST_PIVOT = 1e-13


class NestedCholesky:
    """The order of elimination of a mesh's vertices, and what each block of it holds.

    References
    ----------
    A. George, *Nested dissection of a regular finite element mesh*, SIAM Journal on Numerical
    Analysis 10(2), 1973, 10.1137/0710032. I. Duff, J. Reid, *The multifrontal solution of
    indefinite sparse symmetric linear equations*, ACM Transactions on Mathematical Software 9(3),
    1983, 10.1145/356044.356047.
    """

    def __init__(self, mesh: TriangleMesh) -> None:
        faces = np.ascontiguousarray(mesh.faces)
        count = len(mesh.vertices)
        starts, beside = _neighbours(faces, count)
        piece, levels = _divided(mesh.vertices, starts, beside)
        rank = _postorder_ranks(levels)
        order = np.lexsort((np.arange(count), rank[piece]))
        place = np.empty(count, dtype=np.int64)
        place[order] = np.arange(count)
        blocks = 2**levels - 1
        first = np.searchsorted(rank[piece[order]], np.arange(blocks + 1)).astype(np.int64)
        self._count = count
        self._place = place
        self._first = first
        self._children = _children_by_rank(levels, rank)
        self._edge_starts, self._edge, self._in_parent = _borders(
            starts, beside, order, place, first, self._children
        )
        self._faces_of, self._face_starts, self._corners = _face_places(
            faces, place, first, self._edge_starts, self._edge
        )
        inner, outer = 2 * np.diff(first), 2 * np.diff(self._edge_starts)
        self._panel_starts = np.concatenate([[0], np.cumsum(inner * (inner + outer))])
        self._largest = int((inner + outer).max())
        self._stack = _stack_size(outer, self._children)

    def solve(self, blocks: Floats, right_sides: Floats, *, stiffness: float) -> Floats:
        """Return the solution for (2 V,) or (2 V, K) right sides, x and y of each vertex in turn.

        Parameters
        ----------
        blocks
            (F, 6, 6): what each face adds to the matrix, by its corners' unknowns in turn.
        stiffness
            Added to the diagonal, as a share of its mean.
        """
        mean = float(np.einsum("fii->", blocks)) / (2 * self._count)
        panels = np.empty(int(self._panel_starts[-1]))
        _factor(
            blocks,
            self._first,
            self._edge_starts,
            self._in_parent,
            self._children,
            self._faces_of,
            self._face_starts,
            self._corners,
            self._panel_starts,
            self._largest,
            self._stack,
            stiffness * mean,
            _LEAST_PIVOT * mean,
            panels,
        )
        columns = right_sides.reshape(self._count, 2, -1)
        moved = np.empty_like(columns)
        moved[self._place] = columns
        work = np.ascontiguousarray(moved.reshape(2 * self._count, -1).T)
        for column in work:
            _substitute(
                column, panels, self._panel_starts, self._first, self._edge_starts, self._edge
            )
        back = work.T.reshape(self._count, 2, -1)[self._place]
        result: Floats = back.reshape(right_sides.shape)
        return result


def _neighbours(faces: Ints, count: int) -> tuple[Ints, Ints]:
    """Return (V + 1,) starts and the neighbours of each vertex, one after the other."""
    half = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    keys = np.unique(np.concatenate([half @ [count, 1], half @ [1, count]]))
    starts = np.searchsorted(keys, np.arange(count + 1) * count).astype(np.int64)
    return starts, keys % count


def _divided(points: Floats, starts: Ints, beside: Ints) -> tuple[Ints, int]:
    """Return the piece of each vertex as a heap number (root 1), and the levels of the heap."""
    count = len(points)
    levels = 1 + max(0, int(np.ceil(np.log2(max(1.0, count / _PIECE)))))
    piece = np.ones(count, dtype=np.int64)
    open_yet = np.ones(count, dtype=bool)
    for _ in range(levels - 1):
        here = np.flatnonzero(open_yet)
        group = piece[here]
        _, number = np.unique(group, return_inverse=True)
        groups = int(number.max(initial=-1)) + 1
        low, high = np.full((groups, 3), np.inf), np.full((groups, 3), -np.inf)
        np.minimum.at(low, number, points[here])
        np.maximum.at(high, number, points[here])
        along = points[here, np.argmax(high - low, axis=1)[number]]
        order = np.lexsort((here, along, number))
        size = np.bincount(number, minlength=groups)
        begin = np.cumsum(size) - size
        second = np.zeros(count, dtype=bool)
        within = np.arange(len(here)) - begin[number[order]]
        second[here[order]] = within >= (size[number[order]] + 1) // 2
        parting = _touching(starts, beside, piece, open_yet, second)
        open_yet &= ~parting
        piece[open_yet] = 2 * piece[open_yet] + second[open_yet]
    return piece, levels


@compiled
def _touching(starts: Ints, beside: Ints, piece: Ints, open_yet: Bools, second: Bools) -> Bools:
    """Return which open vertices of a first half touch the second half of the same piece."""
    result = np.zeros(len(piece), dtype=np.bool_)
    for v in range(len(piece)):
        if open_yet[v] and not second[v]:
            for at in range(starts[v], starts[v + 1]):
                w = beside[at]
                if open_yet[w] and second[w] and piece[w] == piece[v]:
                    result[v] = True
    return result


def _postorder_ranks(levels: int) -> Ints:
    """Return by heap number its place in an order in which halves go before what parts them."""
    ranks = np.zeros(2**levels, dtype=np.int64)
    size = 2**levels - 1
    ranks[1] = size - 1
    for node in range(2, 2**levels):
        size = 2 ** (levels - int(node).bit_length() + 1) - 1
        # The second half stands right before its parent, the first half before the second.
        ranks[node] = ranks[node // 2] - 1 - (0 if node % 2 else size)
    return ranks


def _children_by_rank(levels: int, rank: Ints) -> Ints:
    """Return (B, 2): each block's halves by rank, -1 for none."""
    children = np.full((2**levels - 1, 2), -1, dtype=np.int64)
    inner = np.arange(1, 2 ** (levels - 1))
    children[rank[inner], 0] = rank[2 * inner]
    children[rank[inner], 1] = rank[2 * inner + 1]
    return children


@compiled
def _borders(
    starts: Ints, beside: Ints, order: Ints, place: Ints, first: Ints, children: Ints
) -> tuple[Ints, Ints, Ints]:
    """Return each block's border: the later vertices its elimination touches, sorted.

    Also where each of them stands in the parent's block: its own vertices, then its border.
    """
    blocks = len(first) - 1
    edge_starts = np.zeros(blocks + 1, dtype=np.int64)
    seen = np.full(len(order), -1, dtype=np.int64)
    edge = np.empty(16 * len(order) + 64, dtype=np.int64)
    used = 0
    for block in range(blocks):
        end = first[block + 1]
        begin = used
        for v in range(first[block], end):
            for at in range(starts[order[v]], starts[order[v] + 1]):
                w = place[beside[at]]
                if w >= end and seen[w] != block:
                    seen[w] = block
                    if used == len(edge):
                        edge = np.concatenate((edge, np.empty_like(edge)))
                    edge[used] = w
                    used += 1
        for k in range(2):
            child = children[block, k]
            if child >= 0:
                for at in range(edge_starts[child], edge_starts[child + 1]):
                    w = edge[at]
                    if w >= end and seen[w] != block:
                        seen[w] = block
                        if used == len(edge):
                            edge = np.concatenate((edge, np.empty_like(edge)))
                        edge[used] = w
                        used += 1
        edge[begin:used] = np.sort(edge[begin:used])
        edge_starts[block + 1] = used
    in_parent = np.empty(used, dtype=np.int64)
    local = np.empty(len(order), dtype=np.int64)
    for block in range(blocks):
        own = first[block + 1] - first[block]
        for v in range(own):
            local[first[block] + v] = v
        for at in range(edge_starts[block], edge_starts[block + 1]):
            local[edge[at]] = own + at - edge_starts[block]
        for k in range(2):
            child = children[block, k]
            if child >= 0:
                for at in range(edge_starts[child], edge_starts[child + 1]):
                    in_parent[at] = local[edge[at]]
    return edge_starts, edge[:used].copy(), in_parent


@compiled
def _face_places(
    faces: Ints, place: Ints, first: Ints, edge_starts: Ints, edge: Ints
) -> tuple[Ints, Ints, Ints]:
    """Return the faces by the block that takes them in, and where their corners stand in it."""
    blocks = len(first) - 1
    taken = np.empty(len(faces), dtype=np.int64)
    starts = np.zeros(blocks + 1, dtype=np.int64)
    for f in range(len(faces)):
        earliest = min(place[faces[f, 0]], place[faces[f, 1]], place[faces[f, 2]])
        taken[f] = np.searchsorted(first, earliest, side="right") - 1
        starts[taken[f] + 1] += 1
    starts = np.cumsum(starts)
    ordered = np.argsort(taken, kind="mergesort")
    corners = np.empty((len(faces), 3), dtype=np.int64)
    for f in range(len(faces)):
        block = taken[f]
        own = first[block + 1] - first[block]
        for k in range(3):
            v = place[faces[f, k]]
            if v < first[block + 1]:
                corners[f, k] = v - first[block]
            else:
                border = edge[edge_starts[block] : edge_starts[block + 1]]
                corners[f, k] = own + np.searchsorted(border, v)
    return ordered, starts, corners


def _stack_size(outer: Ints, children: Ints) -> int:
    """Return the most numbers that finished halves keep waiting at a time."""
    waiting = most = 0
    for block, size in enumerate(outer.tolist()):
        waiting += size * size
        most = max(most, waiting)
        waiting -= sum(int(outer[c]) ** 2 for c in children[block].tolist() if c >= 0)
    return most


@compiled_fast
def _factor(
    blocks: Floats,
    first: Ints,
    edge_starts: Ints,
    in_parent: Ints,
    children: Ints,
    faces_of: Ints,
    face_starts: Ints,
    corners: Ints,
    panel_starts: Ints,
    largest: int,
    stack_size: int,
    stiffness: float,
    least_pivot: float,
    panels: Floats,
) -> None:
    """Fill the panels: per block the rows of the lower triangle over its own unknowns."""
    room = np.empty(largest * largest)
    stack = np.empty(stack_size)
    top = 0
    tops = np.zeros(len(first) - 1, dtype=np.int64)
    for block in range(len(first) - 1):
        own = 2 * (first[block + 1] - first[block])
        border = 2 * (edge_starts[block + 1] - edge_starts[block])
        size = own + border
        front = room[: size * size].reshape(size, size)
        front[:] = 0.0
        for at in range(face_starts[block], face_starts[block + 1]):
            f = faces_of[at]
            for i in range(6):
                row = 2 * corners[f, i // 2] + i % 2
                for j in range(6):
                    column = 2 * corners[f, j // 2] + j % 2
                    if column <= row:
                        front[row, column] += blocks[f, i, j]
        for i in range(own):
            front[i, i] += stiffness
        waiting = top
        for k in range(2):
            child = children[block, k]
            if child >= 0:
                begin = edge_starts[child]
                wide = 2 * (edge_starts[child + 1] - begin)
                update = stack[tops[child] : tops[child] + wide * wide].reshape(wide, wide)
                waiting = min(waiting, tops[child])
                for i in range(wide):
                    row = 2 * in_parent[begin + i // 2] + i % 2
                    for j in range(i + 1):
                        column = 2 * in_parent[begin + j // 2] + j % 2
                        front[row, column] += update[i, j]
        for j in range(own):
            pivot = front[j, j]
            for k in range(j):
                pivot -= front[j, k] * front[j, k]
            pivot = np.sqrt(max(pivot, least_pivot))
            front[j, j] = pivot
            for i in range(j + 1, size):
                total = front[i, j]
                for k in range(j):
                    total -= front[i, k] * front[j, k]
                front[i, j] = total / pivot
        panel = panels[panel_starts[block] : panel_starts[block + 1]].reshape(size, own)
        for i in range(size):
            for k in range(own):
                panel[i, k] = front[i, k]
        # The halves' updates are used up: this one takes their place.
        top = waiting
        tops[block] = top
        for i in range(border):
            for j in range(i + 1):
                total = front[own + i, own + j]
                for k in range(own):
                    total -= panel[own + i, k] * panel[own + j, k]
                stack[top + i * border + j] = total
        top += border * border


@compiled_fast
def _substitute(
    column: Floats,
    panels: Floats,
    panel_starts: Ints,
    first: Ints,
    edge_starts: Ints,
    edge: Ints,
) -> None:
    """Turn a right side into the solution: down through the blocks and up again."""
    blocks = len(first) - 1
    for block in range(blocks):
        own = 2 * (first[block + 1] - first[block])
        border = 2 * (edge_starts[block + 1] - edge_starts[block])
        panel = panels[panel_starts[block] : panel_starts[block + 1]].reshape(own + border, own)
        start = 2 * first[block]
        for i in range(own):
            total = column[start + i]
            for k in range(i):
                total -= panel[i, k] * column[start + k]
            column[start + i] = total / panel[i, i]
        for i in range(border):
            total = 0.0
            for k in range(own):
                total += panel[own + i, k] * column[start + k]
            column[2 * edge[edge_starts[block] + i // 2] + i % 2] -= total
    for block in range(blocks - 1, -1, -1):
        own = 2 * (first[block + 1] - first[block])
        border = 2 * (edge_starts[block + 1] - edge_starts[block])
        panel = panels[panel_starts[block] : panel_starts[block + 1]].reshape(own + border, own)
        start = 2 * first[block]
        for i in range(border):
            there = column[2 * edge[edge_starts[block] + i // 2] + i % 2]
            for k in range(own):
                column[start + k] -= panel[own + i, k] * there
        for i in range(own - 1, -1, -1):
            column[start + i] /= panel[i, i]
            for k in range(i):
                column[start + k] -= panel[i, k] * column[start + i]
