"""How a sheet that only bends will sit on a form that bends both ways."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_matrix, diags
from scipy.sparse.linalg import splu

from fitkit.flatten.coarse_disk import coarse_disk
from fitkit.flatten.jacobian import FaceGradients
from fitkit.flatten.slit_disk import FlatDisk
from fitkit.geometry.arrays import Floats, Ints
from fitkit.geometry.compiled import compiled
from fitkit.geometry.mesh import TriangleMesh

__all__ = ["RolledFit", "rolled_fit"]

# The gap is smooth: three times as many triangles move it by less than they do one resting place
# of a deep dome from another (a tenth).
_TRIANGLES = 1200
# Rounds of letting the sheet go and drawing it on at most, and the move in mm that ends them.
_ROUNDS = 150
_AT_REST_MM = 3e-3
# At first the form pulls so hard over an edge, against the sheet, that it stays on the form.
_FIRST_PULL = 0.01
_STRENGTHS = 9
_FADE = 0.3
# Between the last pull that was too hard and the first that was not, halved so often.
_HALVINGS = 4
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
        The sheet as it then lies, over fewer triangles than its form; nearly developable.
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
    drawn towards the form; the pull fades until the strain is within the limit, and is then raised
    again as far as the limit lets it. Where the blank cannot come within it the least strain
    reached is told.

    References
    ----------
    O. Sorkine, M. Alexa, *As-rigid-as-possible surface modeling*, Eurographics Symposium on
    Geometry Processing 2007, 10.2312/SGP/SGP07/109-116 (letting go and joining in turn).
    """
    sheet = _Sheet(coarse_disk(form, flat_mm, _TRIANGLES))
    pull = _FIRST_PULL * sheet.first_pull
    placed, strain = sheet.drawn(sheet.form.vertices, pull)
    harder = pull
    for _ in range(_STRENGTHS):
        if strain <= limit:
            break
        harder, pull = pull, _FADE * pull
        placed, strain = sheet.drawn(placed, pull)
    for _ in range(_HALVINGS if strain <= limit and harder > pull else 0):
        between = float(np.sqrt(harder * pull))
        tried, reached = sheet.drawn(placed, between)
        if reached <= limit:
            pull, placed, strain = between, tried, reached
        else:
            harder = between
    off = np.linalg.norm(placed - sheet.form.vertices, axis=1)
    usual = float(np.quantile(off, 0.95))
    return RolledFit(sheet.form.with_vertices(placed), strain, float(off.max()), usual)


class _Sheet:
    """The blank over its form, and what drawing it on takes that does not hang on the pull."""

    def __init__(self, disk: FlatDisk) -> None:
        self.form = disk.mesh
        count = len(self.form.vertices)
        lying = TriangleMesh(np.column_stack([disk.flat_mm, np.zeros(count)]), self.form.faces)
        gradients = FaceGradients(lying)
        self._faces, self._weights = lying.faces, gradients.weights
        self._areas = gradients.areas_mm2
        self.first_pull = 1.0 / float(self._areas.mean())
        stiff = self._areas[:, None, None] * np.einsum("fka,fla->fkl", self._weights, self._weights)
        rows = np.repeat(self._faces, 3, axis=1).ravel()
        columns = np.tile(self._faces, (1, 3)).ravel()
        membrane = coo_matrix((stiff.ravel(), (rows, columns)), shape=(count, count)).tocsc()
        share = np.bincount(
            self._faces.ravel(), weights=np.repeat(self._areas / 3.0, 3), minlength=count
        )
        # Short waves are held back, or the sheet would take up its surplus in wrinkles.
        wave_mm = _WAVE * float(np.sqrt(self._areas.sum()))
        self._membrane = membrane
        self._hold = diags(share) + wave_mm**4 * membrane @ diags(1.0 / share) @ membrane

    def drawn(self, placed: Floats, pull: float) -> tuple[Floats, float]:
        """Return where the sheet comes to rest under a pull, from a place, and its strain."""
        solver = splu((self._membrane + pull * self._hold).tocsc())
        towards = pull * (self._hold @ self.form.vertices)
        before = placed
        for _ in range(_ROUNDS):
            # Carried on the way it was going: saves four rounds in five.
            ahead = placed + _MOMENTUM * (placed - before)
            before = placed
            right = towards.copy()
            _add_let_go(ahead, self._faces, self._areas, self._weights, right)
            placed = solver.solve(right)
            if np.abs(placed - before).max() < _AT_REST_MM:
                break
        return placed, self._strain(placed)

    def _strain(self, placed: Floats) -> float:
        drawn = np.einsum("fkd,fka->fda", placed[self._faces], self._weights)
        worst = np.abs(np.linalg.svd(drawn, compute_uv=False) - 1.0).max(axis=1)
        order = np.argsort(worst, kind="stable")
        covered = np.cumsum(self._areas[order]) / self._areas.sum()
        return float(worst[order[min(int(np.searchsorted(covered, _SHARE)), len(order) - 1)]])


@compiled
def _add_let_go(placed: Floats, faces: Ints, areas: Floats, weights: Floats, total: Floats) -> None:
    """Add what pulls each corner (V, 3) to where its face would lie unstretched.

    That is ``F (F^T F)^(-1/2)`` of the face's drawing F, (3, 2), the root of a 2 by 2 matrix by
    Cayley and Hamilton.
    """
    drawn = np.empty((3, 2))
    for f in range(len(faces)):
        a = b = c = 0.0
        for d in range(3):
            for axis in range(2):
                drawn[d, axis] = 0.0
                for k in range(3):
                    drawn[d, axis] += placed[faces[f, k], d] * weights[f, k, axis]
            a += drawn[d, 0] * drawn[d, 0]
            b += drawn[d, 0] * drawn[d, 1]
            c += drawn[d, 1] * drawn[d, 1]
        root = np.sqrt(max(a * c - b * b, 1e-300))
        trace = np.sqrt(a + c + 2.0 * root)
        # The square root is [[a + root, b], [b, c + root]] / trace; its determinant is root.
        p, q, r = (c + root) / (trace * root), -b / (trace * root), (a + root) / (trace * root)
        for d in range(3):
            first = drawn[d, 0] * p + drawn[d, 1] * q
            second = drawn[d, 0] * q + drawn[d, 1] * r
            for k in range(3):
                total[faces[f, k], d] += areas[f] * (
                    first * weights[f, k, 0] + second * weights[f, k, 1]
                )
