"""Places in triangles as shares of their corners."""

from __future__ import annotations

import numpy as np

from fitkit.geometry.arrays import Floats, Ints
from fitkit.geometry.mesh import TriangleMesh

__all__ = ["face_shares"]


def face_shares(mesh: TriangleMesh, points_mm: Floats, faces: Ints) -> Floats:
    """(N, 3) float: what share each corner has of places (N, 3) in triangles (N,); rows sum to 1.

    For a place in its triangle these are its barycentric coordinates; they are never negative.
    """
    corners = mesh.corners[faces]
    to = corners - points_mm[:, np.newaxis]
    areas = [
        np.linalg.norm(np.cross(to[:, (k + 1) % 3], to[:, (k + 2) % 3]), axis=1) for k in range(3)
    ]
    shares = np.stack(areas, axis=1)
    whole: Floats = shares / np.maximum(shares.sum(axis=1, keepdims=True), 1e-300)
    return whole
