"""From places on a form to places on its flat map."""

from __future__ import annotations

import numpy as np

from fitkit.geometry.arrays import Floats, Ints
from fitkit.geometry.mesh import TriangleMesh

__all__ = ["on_flat"]


def on_flat(form: TriangleMesh, flat_mm: Floats, points_mm: Floats, faces: Ints) -> Floats:
    """(N, 2) float mm: where points of a form lie on its flat.

    ``points_mm`` (N, 3) lie in the triangles ``faces`` (N,).
    """
    corners = form.corners[faces]
    e1, e2, p = (
        corners[:, 1] - corners[:, 0],
        corners[:, 2] - corners[:, 0],
        points_mm - corners[:, 0],
    )
    a, b, c = (np.einsum("ni,ni->n", x, y) for x, y in ((e1, e1), (e1, e2), (e2, e2)))
    d, e = np.einsum("ni,ni->n", p, e1), np.einsum("ni,ni->n", p, e2)
    scale = a * c - b * b
    s, t = ((c * d - b * e) / scale)[:, None], ((a * e - b * d) / scale)[:, None]
    q = flat_mm[form.faces[faces]]
    found: Floats = q[:, 0] + s * (q[:, 1] - q[:, 0]) + t * (q[:, 2] - q[:, 0])
    return found
