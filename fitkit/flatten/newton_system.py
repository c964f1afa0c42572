"""The linear system of a Newton step on a flat map, and how far a step may go."""

from __future__ import annotations

import numpy as np

from fitkit.flatten.nested_cholesky import NestedCholesky
from fitkit.geometry.arrays import Floats, Ints
from fitkit.geometry.mesh import TriangleMesh

__all__ = ["NewtonSystem", "first_collapse"]


# The flat piece may slide and turn freely: a whiff of stiffness fixes those three motions.
_WHIFF = 1e-9


class NewtonSystem:
    """Where the faces' gradients and 6 by 6 blocks go in the whole; made once a mesh."""

    def __init__(self, mesh: TriangleMesh) -> None:
        faces = mesh.faces
        self._unknowns = np.stack([2 * faces, 2 * faces + 1], axis=2).ravel()
        self._size = 2 * len(mesh.vertices)
        self._matrix = NestedCholesky(mesh)

    def gathered(self, per_face: Floats) -> Floats:
        """Return (2 V,): the sum over the faces of (F, 6) derivatives by their corners."""
        total: Floats = np.bincount(
            self._unknowns, weights=per_face.ravel(), minlength=self._size
        ).astype(np.float64)
        return total

    def solve(self, blocks: Floats, right_sides: Floats) -> Floats:
        """Return the solution of the summed (F, 6, 6) blocks for (2 V,) or (2 V, K) sides."""
        return self._matrix.solve(blocks, right_sides, stiffness=_WHIFF)


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
