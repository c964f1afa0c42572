"""Lines that keep their length between form and blank: a stiff spring along each piece of them."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import pairwise

import numpy as np

from fitkit.flatten.jacobian import FaceGradients
from fitkit.flatten.remesh import place_on_faces
from fitkit.geometry.arrays import Floats, Ints
from fitkit.geometry.mesh import TriangleMesh

__all__ = ["HeldLines"]

# Against a bound on the worst strain, whose multipliers add up to 1, a spring this stiff gives by
# about 1e-4 of a held line's length: a tenth of a millimetre in a metre.
_STIFFNESS = 1e4
# Pieces of a line per mean edge of the mesh.
_FINE = 3.0


class HeldLines:
    """Lines across a mesh and the energy of their stretch under a flat map.

    Parameters
    ----------
    mesh, flat_mm
        A disk and a flat map of it without flipped faces.
    lines
        Lines as (N, 2) float mm on that map, each with the length in mm that it is to have: that
        on the form, of which a coarser mesh is a little short.
    """

    def __init__(
        self, mesh: TriangleMesh, flat_mm: Floats, lines: Iterable[tuple[Floats, float]]
    ) -> None:
        gradients = FaceGradients(mesh)
        edge_mm = float(np.sqrt(2.0 * gradients.areas_mm2.mean()))
        jacobians = gradients.jacobians(flat_mm)
        faces, along, length, rest = [], [], [], []
        for line_mm, formed_mm in lines:
            middles, steps = _pieces(line_mm, edge_mm / _FINE)
            on, _ = place_on_faces(middles, flat_mm, mesh.faces)
            # A step on the flat, drawn back into the plane of its face.
            formed = np.linalg.solve(jacobians[on], steps[:, :, None])[:, :, 0]
            lengths = np.linalg.norm(formed, axis=1)
            faces.append(on)
            along.append(formed / lengths[:, None])
            length.append(lengths)
            rest.append(np.full(len(on), formed_mm / lengths.sum()))
        self._faces: Ints = np.concatenate(faces)
        self._along: Floats = np.concatenate(along)
        self._rest: Floats = np.concatenate(rest)
        lengths = np.concatenate(length)
        self._stiffness: Floats = _STIFFNESS * lengths / lengths.sum()
        self._pull: Floats = np.einsum("nkb,nb->nk", gradients.weights[self._faces], self._along)

    def _laid(self, jacobians: Floats) -> tuple[Floats, Floats]:
        """Return (N,) stretch from surface to flat of every piece and (N, 2) its direction."""
        laid = np.einsum("nab,nb->na", jacobians[self._faces], self._along)
        stretch = np.linalg.norm(laid, axis=1)
        return stretch, laid / stretch[:, None]

    def energy(self, jacobians: Floats) -> float:
        """Return half the stiffness times the mean square of how far the pieces are off."""
        stretch, _ = self._laid(jacobians)
        return 0.5 * float(self._stiffness @ (stretch - self._rest) ** 2)

    def add_derivatives(self, jacobians: Floats, gradient: Floats, blocks: Floats) -> None:
        """Add the energy's derivatives to (F, 6) gradients and (F, 6, 6) blocks of the faces.

        The second derivative is the stretching part only (Gauss and Newton's), which has no
        negative eigenvalue.
        """
        stretch, direction = self._laid(jacobians)
        mode = np.einsum("nk,na->nka", self._pull, direction).reshape(-1, 6)
        np.add.at(gradient, self._faces, (self._stiffness * (stretch - self._rest))[:, None] * mode)
        stiff = self._stiffness[:, None, None] * mode[:, :, None] * mode[:, None, :]
        np.add.at(blocks, self._faces, stiff)


def _pieces(line_mm: Floats, longest_mm: float) -> tuple[Floats, Floats]:
    """Return middles and steps, both (K, 2), of a line divided into short pieces."""
    starts, steps = [], []
    for a, b in pairwise(line_mm):
        parts = int(np.ceil(float(np.linalg.norm(b - a)) / longest_mm))
        if parts:
            starts.append(a + (b - a) / parts * np.arange(parts)[:, None])
            steps.append(np.tile((b - a) / parts, (parts, 1)))
    step = np.concatenate(steps)
    return np.concatenate(starts) + 0.5 * step, step
