"""How a sheet that only bends will sit on a form that bends both ways."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_matrix, diags
from scipy.sparse.linalg import splu

from fitkit.flatten.jacobian import FaceGradients
from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh

__all__ = ["RolledFit", "rolled_fit"]

# Rounds of letting the sheet go and drawing it on, for each strength tried; warm started.
_ROUNDS = 60
_STRENGTHS = 12
_FADE = 0.3
_MOMENTUM = 0.95
_SHARE = 0.99
# Waves in how the sheet stands off the form cost more the shorter they are than 2 pi times this
# share of the plate's size: it may lift at its ends and corners, not pucker.
_WAVE = 0.125


@dataclass(frozen=True, slots=True, eq=False)
class RolledFit:
    """A blank bent as near to its form as it goes without stretching more than it may.

    Attributes
    ----------
    bent
        The sheet as it then lies; same faces as the form, nearly developable.
    strain
        What 99 % of it is still stretched or shrunk within.
    most_mm, usual_mm
        How far it stands off the form at most, and over 95 % of it.
    """

    bent: TriangleMesh
    strain: float
    most_mm: float
    usual_mm: float


def rolled_fit(form: TriangleMesh, flat_mm: Floats, limit: float) -> RolledFit:
    """Return how a blank lies when it is drawn onto its form and may give by ``limit`` alone.

    Parameters
    ----------
    flat_mm
        (V, 2) float mm: the blank, no face flipped.
    limit
        Strain the sheet takes, 0.01 for card.

    Notes
    -----
    Each face is let back to its flat shape, and the faces are joined again while the sheet is
    drawn towards the form; the pull is halved until the strain is within the limit.
    Where the blank cannot come within it the least strain reached is told.

    References
    ----------
    O. Sorkine, M. Alexa, *As-rigid-as-possible surface modeling*, Eurographics Symposium on
    Geometry Processing 2007, 10.2312/SGP/SGP07/109-116 (letting go and joining in turn).
    """
    count = len(form.vertices)
    lying = TriangleMesh(np.column_stack([flat_mm, np.zeros(count)]), form.faces)
    gradients = FaceGradients(lying)
    faces, areas, weights = form.faces, gradients.areas_mm2, gradients.weights
    stiff = areas[:, None, None] * np.einsum("fka,fla->fkl", weights, weights)
    rows, columns = np.repeat(faces, 3, axis=1).ravel(), np.tile(faces, (1, 3)).ravel()
    membrane = coo_matrix((stiff.ravel(), (rows, columns)), shape=(count, count)).tocsc()
    share = np.bincount(faces.ravel(), weights=np.repeat(areas / 3.0, 3), minlength=count)
    # Short waves are held back, or the sheet would take up its surplus in wrinkles.
    wave_mm = _WAVE * float(np.sqrt(areas.sum()))
    hold = diags(share) + wave_mm**4 * membrane @ diags(1.0 / share) @ membrane
    goal = form.vertices
    placed = goal.copy()
    # At first the form pulls as hard over an edge as the sheet resists: it stays on the form.
    strength = 1.0 / float(areas.mean())
    strain = np.inf
    for _ in range(_STRENGTHS):
        strength *= _FADE
        solver = splu((membrane + strength * hold).tocsc())
        pull = strength * (hold @ goal)
        before = placed
        for _ in range(_ROUNDS):
            # Carried on the way it was going: saves four rounds in five.
            ahead = placed + _MOMENTUM * (placed - before)
            before = placed
            drawn = np.einsum("fkd,fka->fda", ahead[faces], weights)
            pieces = np.einsum("f,fda,fka->fkd", areas, _let_go(drawn), weights)
            right = pull.copy()
            for axis in range(3):
                right[:, axis] += np.bincount(
                    faces.ravel(), weights=pieces[:, :, axis].ravel(), minlength=count
                )
            placed = solver.solve(right)
        drawn = np.einsum("fkd,fka->fda", placed[faces], weights)
        stretch = np.linalg.svd(drawn, compute_uv=False)
        worst = np.abs(stretch - 1.0).max(axis=1)
        order = np.argsort(worst, kind="stable")
        covered = np.cumsum(areas[order]) / areas.sum()
        strain = float(worst[order[min(int(np.searchsorted(covered, _SHARE)), len(order) - 1)]])
        if strain <= limit:
            break
    off = np.linalg.norm(placed - goal, axis=1)
    usual = float(np.quantile(off, 0.95))
    return RolledFit(form.with_vertices(placed), strain, float(off.max()), usual)


def _let_go(drawn: Floats) -> Floats:
    """Return (F, 3, 2): the nearest unstretched placing of each face, ``F (F^T F)^(-1/2)``."""
    square = np.einsum("fda,fdb->fab", drawn, drawn)
    root = np.sqrt(np.maximum(np.linalg.det(square), 1e-300))
    trace = np.sqrt(square[:, 0, 0] + square[:, 1, 1] + 2.0 * root)
    # The square root of a 2 by 2 matrix, and its inverse, by Cayley and Hamilton.
    half = (square + root[:, None, None] * np.eye(2)) / trace[:, None, None]
    determinant = np.linalg.det(half)
    inverse = np.empty_like(half)
    inverse[:, 0, 0], inverse[:, 1, 1] = half[:, 1, 1], half[:, 0, 0]
    inverse[:, 0, 1], inverse[:, 1, 0] = -half[:, 0, 1], -half[:, 1, 0]
    result: Floats = np.einsum("fda,fab->fdb", drawn, inverse / determinant[:, None, None])
    return result
