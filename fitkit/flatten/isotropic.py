"""Energies of a flat map that depend on its singular values alone: their derivatives by face."""

from __future__ import annotations

import numpy as np

from fitkit.flatten.jacobian import FaceGradients
from fitkit.geometry.arrays import Floats
from fitkit.geometry.compiled import compiled

__all__ = ["isotropic_gradient", "isotropic_hessian"]


def isotropic_gradient(gradients: FaceGradients, jacobians: Floats, slopes: Floats) -> Floats:
    """Return (F, 6): derivative of each face's energy by its corners, x and y in turn.

    Parameters
    ----------
    slopes
        (F, 2): derivative of the face's energy by its larger and its smaller singular value.
    """
    result = np.empty((len(jacobians), 6))
    _fill_gradient(gradients.weights, jacobians, slopes, result)
    return result


def isotropic_hessian(gradients: FaceGradients, jacobians: Floats, curvatures: Floats) -> Floats:
    """Return (F, 6, 6): second derivative of each face's energy by its corners.

    Parameters
    ----------
    curvatures
        (F, 4): eigenvalues of the energy's second derivative by the Jacobian: along the larger and
        the smaller singular value, for a twist, ``(slope1 + slope2) / (larger + smaller)``, and
        for a flip, ``(slope1 - slope2) / (larger - smaller)``. Raise negative ones to 0 first for
        a matrix without negative eigenvalues.

    References
    ----------
    B. Smith, F. de Goes, T. Kim, *Analytic eigensystems for isotropic distortion energies*, ACM
    Transactions on Graphics 38(1), 2019, 10.1145/3241041.
    """
    result = np.empty((len(jacobians), 6, 6))
    _fill_hessian(gradients.weights, jacobians, curvatures, result)
    return result


@compiled
def _modes(jacobian: Floats, weights: Floats, modes: Floats) -> None:
    """Put into ``modes`` (4, 6) how each mode of the Jacobian pulls on the face's corners.

    With ``J = U diag(larger, smaller) V^T``: ``u1 v1^T``, ``u2 v2^T``, and the twist and flip,
    difference and sum of ``u2 v1^T`` and ``u1 v2^T`` over the root of 2.
    """
    a, b, c, d = jacobian[0, 0], jacobian[0, 1], jacobian[1, 0], jacobian[1, 1]
    # J is a similarity (angle of keep) plus an anti-similarity (angle of turn).
    keep = np.arctan2(c - b, a + d)
    turn = np.arctan2(c + b, a - d)
    u_cos, u_sin = np.cos(0.5 * (turn + keep)), np.sin(0.5 * (turn + keep))
    v_cos, v_sin = np.cos(0.5 * (turn - keep)), np.sin(0.5 * (turn - keep))
    half = np.sqrt(0.5)
    for k in range(3):
        g1 = weights[k, 0] * v_cos + weights[k, 1] * v_sin
        g2 = weights[k, 1] * v_cos - weights[k, 0] * v_sin
        x, y = 2 * k, 2 * k + 1
        modes[0, x], modes[0, y] = u_cos * g1, u_sin * g1
        modes[1, x], modes[1, y] = -u_sin * g2, u_cos * g2
        modes[2, x], modes[2, y] = (
            half * (-u_sin * g1 - u_cos * g2),
            half * (u_cos * g1 - u_sin * g2),
        )
        modes[3, x], modes[3, y] = (
            half * (-u_sin * g1 + u_cos * g2),
            half * (u_cos * g1 + u_sin * g2),
        )


@compiled
def _fill_gradient(weights: Floats, jacobians: Floats, slopes: Floats, out: Floats) -> None:
    modes = np.empty((4, 6))
    for f in range(len(jacobians)):
        _modes(jacobians[f], weights[f], modes)
        for i in range(6):
            out[f, i] = slopes[f, 0] * modes[0, i] + slopes[f, 1] * modes[1, i]


@compiled
def _fill_hessian(weights: Floats, jacobians: Floats, curvatures: Floats, out: Floats) -> None:
    modes = np.empty((4, 6))
    for f in range(len(jacobians)):
        _modes(jacobians[f], weights[f], modes)
        for i in range(6):
            for j in range(i + 1):
                total = 0.0
                for k in range(4):
                    total += curvatures[f, k] * modes[k, i] * modes[k, j]
                out[f, i, j] = total
                out[f, j, i] = total
