"""How often a surface winds about a point: once inside a body, twice where two parts overlap."""

from __future__ import annotations

import igl
import numpy as np

from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh

__all__ = ["winding_number"]


def winding_number(mesh: TriangleMesh, points_mm: Floats) -> Floats:
    """(N,) float: the generalised winding number of a surface about points (N, 3).

    A whole number off a closed surface, to about 0.01; holes make it run smoothly between.

    References
    ----------
    G. Barill, N. G. Dickson, R. Schmidt, D. I. W. Levin, A. Jacobson, Fast Winding Numbers for
    Soups and Clouds, ACM Transactions on Graphics 37(4), 2018, in libigl.
    """
    number: Floats = igl.fast_winding_number(
        np.array(mesh.vertices, order="C"),
        np.array(mesh.faces, dtype=np.int64, order="C"),
        np.array(points_mm, dtype=np.float64, order="C"),
    )
    return number
