"""Triangles over points of the plane that keep an outline and lines inside it as edges."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import Delaunay, cKDTree

from fitkit.geometry.arrays import Floats, Ints

__all__ = ["ConformingTriangles", "conforming_triangles"]

_SPLIT_ROUNDS = 8
# Points in a line are told apart by shifting all by up to this share of the outline's size, for
# joining them up only: rounding alone would make faces without height along a straight edge.
_JOGGLE = 1e-8


@dataclass(frozen=True, slots=True, eq=False)
class ConformingTriangles:
    """A triangulation.

    Attributes
    ----------
    points_mm
        (N, 2) float mm.
    faces
        (F, 3) int, counter-clockwise.
    source
        (N,) int: which of the given points each is, -1 for one put on an edge to keep it.
    ring
        (R,) int: the outline once round, counter-clockwise, its first point not repeated.
    chains
        Per line (M,) int.
    """

    points_mm: Floats
    faces: Ints
    source: Ints
    ring: Ints
    chains: tuple[Ints, ...]


def conforming_triangles(
    points_mm: Floats, ring: Ints, chains: Sequence[Ints]
) -> ConformingTriangles | None:
    """Return Delaunay's triangles inside an outline, with every edge of outline and lines kept.

    Edges that Delaunay's rule would cross are halved until it keeps them; points that stand in
    the way and belong to neither outline nor line are left out.

    Parameters
    ----------
    points_mm
        (N, 2) float mm.
    ring
        (R,) int: the outline, counter-clockwise, first point not repeated.
    chains
        Per line inside the outline (M,) int; ends may lie on the outline, nothing else may meet.

    Returns
    -------
    triangles
        None where the edges could not be kept in eight rounds of halving.
    """
    points = np.asarray(points_mm, dtype=np.float64)
    source = np.arange(len(points))
    lines = [np.append(ring, ring[0]), *chains]
    fixed = np.zeros(len(points), dtype=bool)
    for line in lines:
        fixed[line] = True
    size = float(np.ptp(points[ring], axis=0).max())
    for _ in range(_SPLIT_ROUNDS):
        count = len(points)
        joggled = points + _JOGGLE * size * _shifts(count)
        faces = _wound(joggled, Delaunay(joggled).simplices.astype(np.int64))
        pairs = np.sort(np.concatenate([faces[:, :2], faces[:, 1:], faces[:, ::2]]), axis=1)
        present = np.unique(pairs @ np.array([count, 1]))
        missing = [~np.isin(_keys(line, count), present) for line in lines]
        if not any(m.any() for m in missing):
            return _inside(points, faces, source, lines)
        in_the_way = []
        for k, (line, lost) in enumerate(zip(lines, missing, strict=True)):
            a, b = points[line[:-1][lost]], points[line[1:][lost]]
            new = len(points) + np.arange(int(lost.sum()))
            points = np.concatenate([points, 0.5 * (a + b)])
            source = np.append(source, np.full(len(new), -1))
            lines[k] = np.insert(line, np.flatnonzero(lost) + 1, new)
            in_the_way.append((0.5 * (a + b), 0.25 * np.linalg.norm(b - a, axis=1)))
        fixed = np.append(fixed, np.ones(len(points) - len(fixed), dtype=bool))
        tree = cKDTree(points)
        near = tree.query_ball_point(
            np.concatenate([c for c, _ in in_the_way]), np.concatenate([r for _, r in in_the_way])
        )
        doomed = np.unique(np.concatenate([np.asarray(n, dtype=np.int64) for n in near]))
        keep = np.ones(len(points), dtype=bool)
        keep[doomed[~fixed[doomed]]] = False
        number = np.cumsum(keep) - 1
        points, source, fixed = points[keep], source[keep], fixed[keep]
        lines = [number[line] for line in lines]
    return None


def _shifts(count: int) -> Floats:
    """(count, 2) float from -1 to 1, the same every time."""
    return np.random.default_rng(0).uniform(-1.0, 1.0, (count, 2))


def _keys(line: Ints, count: int) -> Ints:
    keys: Ints = np.minimum(line[:-1], line[1:]) * count + np.maximum(line[:-1], line[1:])
    return keys


def _wound(points: Floats, faces: Ints) -> Ints:
    p = points[faces]
    e1, e2 = p[:, 1] - p[:, 0], p[:, 2] - p[:, 0]
    area = e1[:, 0] * e2[:, 1] - e1[:, 1] * e2[:, 0]
    faces[area < 0] = faces[area < 0][:, ::-1]
    wound: Ints = faces[area != 0.0]
    return wound


def _inside(
    points: Floats, faces: Ints, source: Ints, lines: Sequence[Ints]
) -> ConformingTriangles | None:
    """Keep the faces left of the outline, told by how they run along it, never by where they lie.

    Rounding cannot put a sliver on the wrong side that way.
    """
    count = len(points)
    half = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    owner = np.tile(np.arange(len(faces)), 3)
    round_ = lines[0]
    keys = half @ np.array([count, 1])
    along = np.isin(keys, round_[:-1] * count + round_[1:])
    against = np.isin(keys, round_[1:] * count + round_[:-1])
    inner = np.flatnonzero(~(along | against))
    undirected = np.sort(half[inner], axis=1) @ np.array([count, 1])
    order = np.argsort(undirected, kind="stable")
    twin = np.flatnonzero(undirected[order][:-1] == undirected[order][1:])
    a, b = owner[inner[order[twin]]], owner[inner[order[twin + 1]]]
    beside = coo_array((np.ones(len(a)), (a, b)), shape=(len(faces), len(faces)))
    _, piece = connected_components(beside, directed=False)
    kept = faces[np.isin(piece, piece[owner[along]])]
    used = np.unique(kept)
    if len(used) != count or _euler(kept, count) != 1:
        return None
    return ConformingTriangles(
        points, kept, source, round_[:-1].copy(), tuple(line.copy() for line in lines[1:])
    )


def _euler(faces: Ints, count: int) -> int:
    pairs = np.sort(np.concatenate([faces[:, :2], faces[:, 1:], faces[:, ::2]]), axis=1)
    return count - len(np.unique(pairs, axis=0)) + len(faces)
