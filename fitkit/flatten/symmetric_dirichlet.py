"""The flat map of least symmetric Dirichlet energy, by projected Newton steps.

The energy counts growing and shrinking alike and grows without bound as a triangle
collapses, so that a start without flipped triangles stays without.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from fitkit.errors import MeshError
from fitkit.flatten.held_lines import HeldLines
from fitkit.flatten.isotropic import isotropic_gradient, isotropic_hessian
from fitkit.flatten.jacobian import FaceGradients, signed_singular_values
from fitkit.flatten.newton_system import NewtonSystem, first_collapse
from fitkit.geometry.arrays import Floats
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
    held: HeldLines | None = None,
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
    held
        Lines that keep their length; the energy of their springs counts with the map's.
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
    J. Smith, S. Schaefer, *Bijective parameterization with free boundaries*, ACM Transactions on
    Graphics 34(4), 2015, 10.1145/2766947.
    """
    gradients = FaceGradients(mesh)
    weight = gradients.areas_mm2 / gradients.areas_mm2.sum()
    system = NewtonSystem(mesh)
    flat = np.array(start_mm, dtype=np.float64)
    jacobians = gradients.jacobians(flat)
    larger, smaller = signed_singular_values(jacobians)
    if not (np.isfinite(flat).all() and (smaller > 0).all()):
        raise MeshError(
            f"The start of the flattening has {int((~(smaller > 0)).sum())} flipped triangles.",
            "Start from a map without flipped triangles.",
        )
    energy = float(weight @ _density(larger, smaller))
    energy += 0.0 if held is None else held.energy(jacobians)
    decrement = float("inf")
    for iteration in range(max_iterations + 1):
        gradient, blocks = _derivatives(gradients, weight, jacobians, larger, smaller)
        if held is not None:
            held.add_derivatives(jacobians, gradient, blocks)
        slope = system.gathered(gradient)
        step = -system.solve(blocks, slope)
        decrement = float(-(step @ slope))
        if decrement <= max(tolerance * energy, _ABSOLUTE_DECREMENT):
            return FlatMap(flat, energy, iteration, decrement, True)
        if iteration == max_iterations:
            break
        if progress is not None:
            progress(iteration / max_iterations, "letting the flat piece relax")
        move = step.reshape(-1, 2)
        length = min(1.0, 0.9 * first_collapse(flat, move, mesh.faces))
        while True:
            tried = flat + length * move
            jacobians = gradients.jacobians(tried)
            larger, smaller = signed_singular_values(jacobians)
            if smaller.min() > 0:
                reached = float(weight @ _density(larger, smaller))
                reached += 0.0 if held is None else held.energy(jacobians)
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
    slopes = np.stack([(larger - larger**-3) / 2.0, (smaller - smaller**-3) / 2.0], axis=1)
    # Differences of the slopes divided out by hand: no cancellation where the two are equal.
    product = (larger * smaller) ** 3
    twist = (1.0 - (larger**2 - larger * smaller + smaller**2) / product) / 2.0
    flip = (1.0 + (larger**2 + larger * smaller + smaller**2) / product) / 2.0
    curvatures = np.stack(
        [
            (1.0 + 3.0 * larger**-4) / 2.0,
            (1.0 + 3.0 * smaller**-4) / 2.0,
            np.maximum(twist, 0.0),
            flip,
        ],
        axis=1,
    )
    return (
        isotropic_gradient(gradients, jacobians, weight[:, None] * slopes),
        isotropic_hessian(gradients, jacobians, weight[:, None] * curvatures),
    )
