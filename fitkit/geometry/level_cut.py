"""A mesh cut along the zero line of values at its vertices."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitkit.geometry.arrays import Bools, Floats, Ints
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.topology import edges

__all__ = ["LevelCut", "level_cut"]

_ON_VERTEX = 1e-6


@dataclass(frozen=True, slots=True, eq=False)
class LevelCut:
    """What is left of a mesh where values are above zero.

    Attributes
    ----------
    mesh
        With all vertices of the old one first, used or not, then those on the cut.
    on_cut
        (V,) bool: vertices on the cut.
    """

    mesh: TriangleMesh
    on_cut: Bools

    def lines(self) -> tuple[Floats, ...]:
        """Return the cut as (N, 3) float mm lines, longest first; a closed one ends as it began."""
        pairs, count = edges(self.mesh)
        rim = pairs[(count == 1) & self.on_cut[pairs].all(axis=1)]
        beside: dict[int, list[int]] = {}
        for a, b in rim.tolist():
            beside.setdefault(a, []).append(b)
            beside.setdefault(b, []).append(a)
        chains = []
        for start in sorted(beside, key=lambda v: (len(beside[v]) != 1, v)):
            while beside[start]:
                chain = [start]
                while beside[chain[-1]]:
                    following = beside[chain[-1]].pop()
                    beside[following].remove(chain[-1])
                    chain.append(following)
                chains.append(self.mesh.vertices[chain])
        chains.sort(key=lambda line: -float(np.linalg.norm(np.diff(line, axis=0), axis=1).sum()))
        return tuple(chains)


def level_cut(mesh: TriangleMesh, values: Floats) -> LevelCut:
    """Return the part of a mesh where the values, (V,) float, linear in each face, are above 0.

    A value nearer to zero than a millionth of the largest counts as just above it.
    """
    near = _ON_VERTEX * max(float(np.abs(values).max(initial=0.0)), 1e-300)
    values = np.where(np.abs(values) < near, near, values)
    above = values > 0
    count = above[mesh.faces].sum(axis=1)
    crossing = mesh.faces[(count > 0) & (count < 3)]
    # Turn each crossed face so that its odd corner out comes first.
    inside = above[crossing]
    odd = np.where(inside.sum(axis=1) == 1, inside.argmax(axis=1), inside.argmin(axis=1))
    corner = (odd[:, np.newaxis] + np.arange(3)) % 3
    turned: Ints = np.take_along_axis(crossing, corner, axis=1)
    first, last = turned[:, [0, 1]], turned[:, [0, 2]]
    both = np.sort(np.vstack([first, last]), axis=1)
    keys, place = np.unique(both, axis=0, return_inverse=True)
    low, high = values[keys[:, 0]], values[keys[:, 1]]
    share = (low / (low - high))[:, np.newaxis]
    points = mesh.vertices[keys[:, 0]] * (1 - share) + mesh.vertices[keys[:, 1]] * share
    new = len(mesh.vertices) + place.ravel().reshape(2, -1)
    a, b, c = turned.T
    ab, ac = new
    tip = above[a]
    faces = np.vstack(
        [
            mesh.faces[count == 3],
            np.column_stack([a, ab, ac])[tip],
            np.column_stack([ab, b, c])[~tip],
            np.column_stack([ab, c, ac])[~tip],
        ]
    )
    on_cut = np.zeros(len(mesh.vertices) + len(points), dtype=np.bool_)
    on_cut[len(mesh.vertices) :] = True
    return LevelCut(TriangleMesh(np.vstack([mesh.vertices, points]), faces), on_cut)
