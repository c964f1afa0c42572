"""The linear system of a Newton step on a flat map, and how far a step may go."""

from __future__ import annotations

import numpy as np
from scipy.sparse import csc_matrix
from scipy.sparse.linalg import splu

from fitkit.geometry.arrays import Floats, Ints

__all__ = ["NewtonSystem", "first_collapse"]


class NewtonSystem:
    """Where the faces' gradients and 6 by 6 blocks go in the whole; made once a mesh."""

    def __init__(self, faces: Ints, vertex_count: int) -> None:
        self._unknowns = np.stack([2 * faces, 2 * faces + 1], axis=2).reshape(-1, 6)
        self._size = 2 * vertex_count
        rows = np.repeat(self._unknowns, 6, axis=1).ravel()
        columns = np.tile(self._unknowns, (1, 6)).ravel()
        keys, self._place = np.unique(columns * self._size + rows, return_inverse=True)
        self._rows = keys % self._size
        counts = np.bincount(keys // self._size, minlength=self._size)
        self._starts = np.concatenate([[0], np.cumsum(counts)])
        self._diagonal = np.flatnonzero(self._rows == keys // self._size)

    def gathered(self, per_face: Floats) -> Floats:
        """Return (2 V,): the sum over the faces of (F, 6) derivatives by their corners."""
        result: Floats = np.bincount(
            self._unknowns.ravel(), weights=per_face.ravel(), minlength=self._size
        ).astype(np.float64)
        return result

    def solve(self, blocks: Floats, right_sides: Floats) -> Floats:
        """Return the solution of the summed (F, 6, 6) blocks for (2 V,) or (2 V, K) sides."""
        data: Floats = np.bincount(
            self._place.ravel(), weights=blocks.ravel(), minlength=len(self._rows)
        ).astype(np.float64)
        # The flat piece may slide and turn freely: a whiff of stiffness fixes those three motions.
        data[self._diagonal] += 1e-9 * data[self._diagonal].mean()
        matrix = csc_matrix((data, self._rows, self._starts), shape=(self._size, self._size))
        solver = splu(
            matrix,
            permc_spec="MMD_AT_PLUS_A",
            diag_pivot_thresh=0.0,
            options={"SymmetricMode": True},
        )
        result: Floats = solver.solve(right_sides)
        return result


def first_collapse(flat: Floats, move: Floats, faces: Ints) -> float:
    """Return the step length at which the first triangle loses its area, maybe infinite.

    References
    ----------
    J. Smith, S. Schaefer, *Bijective parameterization with free boundaries*, ACM Transactions on
    Graphics 34(4), 2015, 10.1145/2766947.
    """
    p, q = flat[faces[:, 1]] - flat[faces[:, 0]], flat[faces[:, 2]] - flat[faces[:, 0]]
    dp, dq = move[faces[:, 1]] - move[faces[:, 0]], move[faces[:, 2]] - move[faces[:, 0]]

    def cross(a: Floats, b: Floats) -> Floats:
        result: Floats = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
        return result

    c = cross(p, q)
    b = cross(p, dq) + cross(dp, q)
    a = cross(dp, dq)
    root = np.sqrt(np.maximum(b * b - 4.0 * a * c, 0.0))
    real = b * b - 4.0 * a * c >= 0.0
    # c > 0, so this form of the quadratic's two roots never divides zero by zero.
    lengths = []
    for bottom in (-b + root, -b - root):
        ahead = real & (bottom > 0.0)
        if ahead.any():
            lengths.append(float((2.0 * c[ahead] / bottom[ahead]).min()))
    return min(lengths, default=float("inf"))
