"""The flat map whose worst strain is least: no triangle must stretch or shrink more than need be.

The largest stretch factor T bounds every singular value between 1/T and T. T less a
logarithmic barrier at the bounds is minimised by Newton steps on the map and T together
while the barrier fades.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from fitkit.errors import MeshError
from fitkit.flatten.held_lines import HeldLines
from fitkit.flatten.isotropic import isotropic_gradient, isotropic_hessian
from fitkit.flatten.jacobian import FaceGradients, signed_singular_values
from fitkit.flatten.newton_system import NewtonSystem, first_collapse
from fitkit.flatten.symmetric_dirichlet import FlatMap, symmetric_dirichlet_energy
from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh

__all__ = ["log_ratio", "minimise_largest_strain"]

# Stop where the worst strain is proven within this share of the least there is (of the convex
# problem the Newton step sees). 0.01 leaves 0.1 % to gain on a cap; smaller costs steps.
_GAP = 0.01
# Strains below this are rounding beside the barrier's differences; there is nothing to even out.
_LEAST_STRAIN = 1e-6
# The first bound lies this much of the strain beyond it; the barrier fades by this factor at a
# time. 0.1 and 0.5 cost one to three steps more on caps and body patches.
_ROOM = 0.1
_FADE = 0.3
# A sliver counts as if it had this share of a mean face's area, and no step takes a bound's room
# below this share of what it was. Else one long step jams a small face against its bound, and a
# hundred short ones do not free it: worst strains of body plates were up to 30 % above the least.
_LEAST_WEIGHT = 0.3
_ROOM_KEPT = 0.1
# The last barrier's minimum is reached to this share of its weight, so that the map hangs on the
# surface alone and not on the way it was come by.
_SETTLED = 1e-6
# A step that gains less than this of a number about 1 gains nothing: slivers stop here.
_ROUNDING = 1e-13
_SUFFICIENT_DECREASE = 1e-4
_SHORTEST_STEP = 1e-10


def log_ratio(mesh: TriangleMesh, flat_mm: Floats) -> float:
    """Return log(largest singular value / smallest) over a flat map: its scale-free distortion.

    Half of it is the worst log strain once the map's scale is chosen best. Infinite when a face is
    flipped.
    """
    larger, smaller = signed_singular_values(FaceGradients(mesh).jacobians(flat_mm))
    if not smaller.min() > 0:
        return float("inf")
    return float(np.log(larger.max() / smaller.min()))


def minimise_largest_strain(
    mesh: TriangleMesh,
    start_mm: Floats,
    *,
    held: HeldLines | None = None,
    gap: float = _GAP,
    max_iterations: int = 100,
    progress: Callable[[float, str], None] | None = None,
) -> FlatMap:
    """Return the flat map with the least worst strain near a start without flips.

    Unless lines are held it comes out balanced: the largest stretch is the inverse of the largest
    shrink. A map that is
    isometric to 1e-6 comes back as it was.

    Parameters
    ----------
    mesh
        The surface: a disk.
    start_mm
        (V, 2) float mm, every face counter-clockwise: best a map of nearly least symmetric
        Dirichlet energy.
    held
        Lines that keep their length. The map then has their size, and the worst strain is counted
        at that size.
    gap
        Stop where the worst strain is within about this share of the least.
    max_iterations
        Newton steps at most; patches take 8 to 30.

    Raises
    ------
    MeshError
        When the start has a flipped face.

    Notes
    -----
    Minimised is ``T - mu sum_f w_f sum_i [log(T - s_i) + log(T - 1 / s_i)]`` over the map and T,
    with ``w`` the faces' shares of the area, small ones raised, and ``mu`` going down: a convex
    function of the singular values ``s`` and T, and smooth where the two singular values of a face
    are equal. At its minimum T lies at most ``4 mu`` above the least T. On caps it comes within
    0.7 % of the bound of Milnor (*A problem in cartography*, American Mathematical Monthly 76,
    1969), in 8 to 10 steps; a p-norm of the strains raised to p = 256 stays 2 % above it. On body
    plates an interior-point solver of cones finds nothing more than 0.2 % below it.

    References
    ----------
    S. Boyd, L. Vandenberghe, *Convex Optimization*, Cambridge 2004, chapter 11 (barrier method).
    """
    gradients = FaceGradients(mesh)
    counted = np.maximum(gradients.areas_mm2, _LEAST_WEIGHT * gradients.areas_mm2.mean())
    weight = (counted / counted.sum())[:, None]
    system = NewtonSystem(mesh)
    flat = np.array(start_mm, dtype=np.float64)
    jacobians = gradients.jacobians(flat)
    singular = _singular(jacobians)
    if not (np.isfinite(flat).all() and singular.min() > 0):
        raise MeshError(
            f"The start of the flattening has {int((~(singular > 0)).any(axis=1).sum())} flipped "
            "triangles.",
            "Start from a map without flipped triangles.",
        )
    scale = 1.0 / np.sqrt(singular.max() * singular.min())
    flat, jacobians, singular = flat * scale, jacobians * scale, singular * scale
    if singular.max() - 1.0 < _LEAST_STRAIN:
        flat /= scale
        return FlatMap(flat, symmetric_dirichlet_energy(mesh, flat), 0, 0.0, True)
    largest = 1.0 + (1.0 + _ROOM) * (float(singular.max()) - 1.0)
    # The multiplier sum that the minimum has: 1.
    mu = 1.0 / float((weight * (1.0 / _slack(singular, largest)).sum(axis=1, keepdims=True)).sum())
    first_mu, done = mu, 0.0
    spring = 0.0 if held is None else held.energy(jacobians)
    merit = _merit(_slack(singular, largest), largest, weight, mu) + spring
    decrement, converged, last, steps = float("inf"), False, False, 0
    while steps < max_iterations:
        steps += 1
        move, wider, decrement = _newton_step(
            gradients, system, weight * mu, jacobians, singular, largest, held
        )
        length = min(1.0, 0.9 * first_collapse(flat, move, mesh.faces))
        least_room = _ROOM_KEPT * _slack(singular, largest)
        while length >= _SHORTEST_STEP:
            tried = flat + length * move
            jacobians = gradients.jacobians(tried)
            singular = _singular(jacobians)
            spring = 0.0 if held is None else held.energy(jacobians)
            slack = _slack(singular, largest + length * wider)
            reached = _merit(slack, largest + length * wider, weight, mu) + spring
            enough = merit - _SUFFICIENT_DECREASE * length * decrement
            if reached <= enough and (slack > least_room).all():
                break
            length *= 0.6
        else:
            # No step helps: the barrier's minimum to rounding.
            converged = last and decrement < mu
            break
        gained = merit - reached
        flat, largest, merit = tried, largest + length * wider, reached
        if decrement < (_SETTLED if last and gained > _ROUNDING else 1.0) * mu:
            if last:
                converged = True
                break
            least_mu = 0.25 * gap * (largest - 1.0)
            last = _FADE * mu <= least_mu
            mu = max(_FADE * mu, least_mu)
            merit = _merit(slack, largest, weight, mu) + spring
        if progress is not None:
            left = max(0.0, float(np.log(4.0 * mu / (gap * (largest - 1.0)))))
            done = max(done, 1.0 - left / max(left + float(np.log(first_mu / mu)), 1e-9))
            progress(done, "evening out the worst strain")
    if held is None:
        settled = _singular(gradients.jacobians(flat))
        flat /= np.sqrt(settled.max() * settled.min())
    energy = symmetric_dirichlet_energy(mesh, flat)
    return FlatMap(flat, energy, steps, decrement, converged)


def _singular(jacobians: Floats) -> Floats:
    return np.stack(signed_singular_values(jacobians), axis=1)


def _slack(singular: Floats, largest: float) -> Floats:
    """Return (F, 4): room below the bound for both values, then for both values' inverses.

    A flipped face has none.
    """
    if not singular.min() > 0:
        return np.full((len(singular), 4), -1.0)
    return np.concatenate([largest - singular, largest - 1.0 / singular], axis=1)


def _merit(slack: Floats, largest: float, weight: Floats, mu: float) -> float:
    if not slack.min() > 0:
        return float("inf")
    return largest - mu * float((weight * np.log(slack)).sum())


def _newton_step(
    gradients: FaceGradients,
    system: NewtonSystem,
    mu: Floats,
    jacobians: Floats,
    singular: Floats,
    largest: float,
    held: HeldLines | None,
) -> tuple[Floats, float, float]:
    """Return the step of the map (V, 2), of T, and what it promises to save.

    ``mu`` is (F, 1): the barrier's weight of each face.
    """
    room, room_inverse = largest - singular, largest - 1.0 / singular
    slopes = mu * (1.0 / room - singular**-2.0 / room_inverse)
    along = mu * (
        room**-2.0 + singular**-4.0 / room_inverse**2 + 2.0 * singular**-3.0 / room_inverse
    )
    total, product = singular.sum(axis=1), singular.prod(axis=1)
    twist = np.maximum(slopes.sum(axis=1) / total, 0.0)
    # (slope1 - slope2) / (s1 - s2), divided out by hand for where the two are equal.
    flip = mu[:, 0] / room.prod(axis=1)
    flip += mu[:, 0] * (largest * total - 1.0) / (product**2 * room_inverse.prod(axis=1))
    blocks = isotropic_hessian(gradients, jacobians, np.column_stack([along, twist, flip]))
    by_largest = mu * (singular**-2.0 / room_inverse**2 - room**-2.0)
    pulls = isotropic_gradient(gradients, jacobians, slopes)
    if held is not None:
        held.add_derivatives(jacobians, pulls, blocks)
    gradient = system.gathered(pulls)
    border = system.gathered(isotropic_gradient(gradients, jacobians, by_largest))
    slope_largest = 1.0 - float((mu * (1.0 / room + 1.0 / room_inverse)).sum())
    curvature_largest = float((mu * (room**-2.0 + room_inverse**-2.0)).sum())
    solved = system.solve(blocks, np.column_stack([gradient, border]))
    wider = -(slope_largest - border @ solved[:, 0]) / (curvature_largest - border @ solved[:, 1])
    step = -solved[:, 0] - wider * solved[:, 1]
    decrement = -float(gradient @ step + slope_largest * wider)
    return step.reshape(-1, 2), float(wider), decrement
