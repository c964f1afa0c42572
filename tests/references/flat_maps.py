"""Another library's flat maps of a disk: libigl's LSCM, ARAP and SLIM."""

from __future__ import annotations

import igl
import numpy as np

from fitkit.flatten.conformal_start import conformal_start
from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh
from tests.truth import solids

__all__ = ["arap_map", "lscm_map", "slim_map"]


def lscm_map(mesh: TriangleMesh) -> Floats:
    """Return (V, 2): Levy and others 2002, 10.1145/566654.566590."""
    return conformal_start(mesh, solids.border_rounds(mesh)[0])


def arap_map(mesh: TriangleMesh, rounds: int = 100) -> Floats:
    """Return (V, 2): Liu and others 2008, 10.1111/j.1467-8659.2008.01290.x, one vertex pinned."""
    start = lscm_map(mesh)
    data = igl.ARAPData()
    data.max_iter = rounds
    pinned = np.zeros(1, dtype=np.int32)
    igl.arap_precomputation(mesh.vertices, mesh.faces, 2, pinned, data)
    return np.ascontiguousarray(igl.arap_solve(start[:1].copy(), data, start.copy()))


def slim_map(mesh: TriangleMesh, rounds: int = 40) -> Floats:
    """Return (V, 2): Rabinovich and others 2017, 10.1145/2983621, symmetric Dirichlet."""
    data = igl.slim_precompute(
        np.asfortranarray(mesh.vertices),
        np.asfortranarray(mesh.faces.astype(np.int32)),
        np.asfortranarray(lscm_map(mesh)),
        igl.MappingEnergyType.SYMMETRIC_DIRICHLET,
        np.zeros(0, dtype=np.int32),
        np.asfortranarray(np.zeros((0, 2))),
        0.0,
    )
    return np.ascontiguousarray(igl.slim_solve(data, rounds))
