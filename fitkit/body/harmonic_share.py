"""A share from 0 to 1 over a surface, known on parts of it and as smooth as can be between."""

from __future__ import annotations

import numpy as np
import scipy.sparse as sp
from scipy.sparse.linalg import spsolve

from fitkit.geometry.arrays import Bools, Floats
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.topology import edges

__all__ = ["harmonic_share", "smooth_step"]


def smooth_step(share: Floats) -> Floats:
    """Return shares held to 0..1 and eased in at both ends: 3 s^2 - 2 s^3."""
    held = np.clip(share, 0.0, 1.0)
    eased: Floats = held * held * (3.0 - 2.0 * held)
    return eased


def harmonic_share(mesh: TriangleMesh, known: Floats, free: Bools) -> Floats:
    """(V,) float 0..1: the harmonic function over the free vertices, eased in at both ends.

    Parameters
    ----------
    known
        (V,) float, 0 or 1: the share wherever ``free`` (V,) bool is false.
    """
    points = mesh.vertices
    pairs, _ = edges(mesh)
    length = np.linalg.norm(points[pairs[:, 0]] - points[pairs[:, 1]], axis=1)
    pull = 1.0 / np.maximum(length, 1e-6)
    links = sp.coo_array(
        (np.r_[pull, pull], (np.r_[pairs[:, 0], pairs[:, 1]], np.r_[pairs[:, 1], pairs[:, 0]])),
        shape=(len(points), len(points)),
    ).tocsr()
    rows = np.flatnonzero(free)
    if len(rows) == 0:
        return known
    own = links[rows]
    system = sp.diags_array(np.asarray(own.sum(axis=1)).ravel()) - own[:, rows]
    harmonic = np.where(free, 0.0, known)
    harmonic[rows] = spsolve(sp.csc_array(system), own @ harmonic)
    return smooth_step(harmonic)
