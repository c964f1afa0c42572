"""The flat map of least symmetric Dirichlet energy, by projected Newton steps.

The energy counts growing and shrinking alike and grows without bound as a triangle
collapses, so that a start without flipped triangles stays without.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.sparse import csc_matrix
from scipy.sparse.linalg import splu

from fitkit.errors import MeshError
from fitkit.flatten.jacobian import FaceGradients, signed_singular_values, singular_frames
from fitkit.geometry.arrays import Floats, Ints
from fitkit.geometry.mesh import TriangleMesh

__all__ = ["FlatMap", "minimise_symmetric_dirichlet", "symmetric_dirichlet_energy"]

# Stop where a full Newton step promises less than this share of the energy ...
_RELATIVE_DECREMENT = 1e-8
# ... or less than this energy, a mean strain of about 1e-11: rounding.
_ABSOLUTE_DECREMENT = 1e-22
# Armijo's constant and the shortest step tried (customary values).
_SUFFICIENT_DECREASE = 1e-4
_SHORTEST_STEP = 1e-12


@dataclass(frozen=True, slots=True, eq=False)
class FlatMap:
    """A flat map and how it was reached.

    Attributes
    ----------
    flat_mm
        (V, 2) float mm; every face counter-clockwise.
    energy
        Area mean of ``((s1 - 1/s1)^2 + (s2 - 1/s2)^2) / 4`` over the singular values; about the
        mean square strain when small, 0 for an isometry.
    iterations
        Newton steps taken.
    decrement
        Energy that a further full step promised to save.
    converged
        Whether the decrement fell below its limit.
    """

    flat_mm: Floats
    energy: float
    iterations: int
    decrement: float
    converged: bool


def _density(larger: Floats, smaller: Floats) -> Floats:
    # (s - 1/s)^2 is s^2 + s^-2 - 2 without its cancellation near 1.
    value: Floats = ((larger - 1.0 / larger) ** 2 + (smaller - 1.0 / smaller) ** 2) / 4.0
    return value


def symmetric_dirichlet_energy(mesh: TriangleMesh, flat_mm: Floats) -> float:
    """Return the energy of a flat map, infinite when a face is flipped or has no area."""
    gradients = FaceGradients(mesh)
    larger, smaller = signed_singular_values(gradients.jacobians(flat_mm))
    if not (smaller > 0).all():
        return float("inf")
    weight = gradients.areas_mm2 / gradients.areas_mm2.sum()
    return float(weight @ _density(larger, smaller))


def minimise_symmetric_dirichlet(
    mesh: TriangleMesh,
    start_mm: Floats,
    *,
    max_iterations: int = 200,
    tolerance: float = _RELATIVE_DECREMENT,
    progress: Callable[[float, str], None] | None = None,
) -> FlatMap:
    """Return the flat map of least symmetric Dirichlet energy near a start without flips.

    Parameters
    ----------
    mesh
        The surface: a disk.
    start_mm
        (V, 2) float mm, every face counter-clockwise.
    max_iterations
        Newton steps at most; a smooth patch takes 4 to 15 from a conformal start.

    tolerance
        Stop where a full step promises less than this share of the energy.

    Raises
    ------
    MeshError
        When the start has a flipped face.

    Notes
    -----
    Each face's Hessian is made positive semidefinite from its analytic eigen-system: stretch modes
    ``psi''``, a twist and a flip mode. Steps are kept short of the first triangle to collapse, the
    least positive root of its area along the step.

    References
    ----------
    B. Smith, F. de Goes, T. Kim, *Analytic eigensystems for isotropic distortion energies*, ACM
    Transactions on Graphics 38(1), 2019, 10.1145/3241041. J. Smith, S. Schaefer, *Bijective
    parameterization with free boundaries*, ACM Transactions on Graphics 34(4), 2015,
    10.1145/2766947 (the flip-free step).
    """
    gradients = FaceGradients(mesh)
    weight = gradients.areas_mm2 / gradients.areas_mm2.sum()
    pattern = _HessianPattern(mesh.faces, len(mesh.vertices))
    flat = np.array(start_mm, dtype=np.float64)
    jacobians = gradients.jacobians(flat)
    larger, smaller = signed_singular_values(jacobians)
    if not (np.isfinite(flat).all() and (smaller > 0).all()):
        raise MeshError(
            f"The start of the flattening has {int((~(smaller > 0)).sum())} flipped triangles.",
            "Start from a map without flipped triangles.",
        )
    energy = float(weight @ _density(larger, smaller))
    decrement = float("inf")
    for iteration in range(max_iterations + 1):
        gradient, blocks = _derivatives(gradients, weight, jacobians, larger, smaller)
        slope = pattern.gradient(gradient)
        step = -pattern.solve(blocks, slope)
        decrement = float(-(step @ slope))
        if decrement <= max(tolerance * energy, _ABSOLUTE_DECREMENT):
            return FlatMap(flat, energy, iteration, decrement, True)
        if iteration == max_iterations:
            break
        if progress is not None:
            progress(iteration / max_iterations, "letting the flat piece relax")
        move = step.reshape(-1, 2)
        length = min(1.0, 0.9 * _first_collapse(flat, move, mesh.faces))
        while True:
            tried = flat + length * move
            jacobians = gradients.jacobians(tried)
            larger, smaller = signed_singular_values(jacobians)
            if smaller.min() > 0:
                reached = float(weight @ _density(larger, smaller))
                if reached <= energy - _SUFFICIENT_DECREASE * length * decrement:
                    break
            length *= 0.5
            if length < _SHORTEST_STEP:
                # No step helps: at the minimum to rounding, or stuck.
                return FlatMap(flat, energy, iteration, decrement, decrement < 1e-7 * energy)
        flat, energy = tried, reached
    return FlatMap(flat, energy, max_iterations, decrement, False)


def _derivatives(
    gradients: FaceGradients, weight: Floats, jacobians: Floats, larger: Floats, smaller: Floats
) -> tuple[Floats, Floats]:
    """Return (F, 6) gradient and (F, 6, 6) projected Hessian of each face, corner by corner."""
    u, v = singular_frames(jacobians)
    u1, u2, v1, v2 = u[:, :, 0], u[:, :, 1], v[:, :, 0], v[:, :, 1]
    slope1 = (larger - larger**-3) / 2.0
    slope2 = (smaller - smaller**-3) / 2.0
    # Differences of the slopes divided out by hand: no cancellation where the two are equal.
    product = (larger * smaller) ** 3
    twist = (1.0 - (larger**2 - larger * smaller + smaller**2) / product) / 2.0
    flip = (1.0 + (larger**2 + larger * smaller + smaller**2) / product) / 2.0
    values = np.stack(
        [
            (1.0 + 3.0 * larger**-4) / 2.0,
            (1.0 + 3.0 * smaller**-4) / 2.0,
            np.maximum(twist, 0.0),
            flip,
        ],
        axis=1,
    )
    # The gradients of the corners' hat functions along v1 and v2.
    g1 = np.einsum("fkb,fb->fk", gradients.weights, v1)
    g2 = np.einsum("fkb,fb->fk", gradients.weights, v2)

    def mode(direction: Floats, along: Floats) -> Floats:
        result: Floats = np.einsum("fa,fk->fka", direction, along).reshape(-1, 6)
        return result

    m11, m22, m12, m21 = mode(u1, g1), mode(u2, g2), mode(u1, g2), mode(u2, g1)
    modes = np.stack([m11, m22, (m21 - m12) / 2**0.5, (m21 + m12) / 2**0.5], axis=1)
    gradient = weight[:, None] * (slope1[:, None] * m11 + slope2[:, None] * m22)
    scaled = modes * (values * weight[:, None])[:, :, None]
    hessian: Floats = np.einsum("fki,fkj->fij", scaled, modes)
    return gradient, hessian


def _first_collapse(flat: Floats, move: Floats, faces: Ints) -> float:
    """Return the step length at which the first triangle loses its area, maybe infinite."""
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


class _HessianPattern:
    """Where the 6 by 6 blocks of the faces go in the sparse Hessian; made once a mesh."""

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

    def gradient(self, per_face: Floats) -> Floats:
        result: Floats = np.bincount(
            self._unknowns.ravel(), weights=per_face.ravel(), minlength=self._size
        ).astype(np.float64)
        return result

    def solve(self, blocks: Floats, right_side: Floats) -> Floats:
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
        result: Floats = solver.solve(right_side)
        return result
