"""The Jacobian of a map from a surface to the flat, face by face, and its singular values."""

from __future__ import annotations

import numpy as np

from fitkit.errors import MeshError
from fitkit.geometry.arrays import Floats, Ints
from fitkit.geometry.compiled import compiled
from fitkit.geometry.mesh import TriangleMesh

__all__ = ["FaceGradients", "signed_singular_values", "singular_frames"]


class FaceGradients:
    """What turns positions on the flat into one Jacobian (surface to flat) per face.

    Attributes
    ----------
    faces
        (F, 3) int.
    areas_mm2
        (F,) float: on the surface.
    weights
        (F, 3, 2) float 1/mm: gradient of each corner's hat function in the face's own plane, its
        first axis along the face's first edge, its second a quarter turn on seen from outside.
    """

    __slots__ = ("areas_mm2", "faces", "weights")

    def __init__(self, mesh: TriangleMesh) -> None:
        """Prepare the faces of a mesh.

        Raises
        ------
        MeshError
            When a face has no area.
        """
        a, b, c = np.moveaxis(mesh.corners, 1, 0)
        along = b - a
        length = np.linalg.norm(along, axis=1)
        double_area = np.linalg.norm(np.cross(along, c - a), axis=1)
        scale = max(float(double_area.mean()), np.finfo(np.float64).tiny)
        bad = ~(double_area > 1e-14 * scale) | ~(length > 0)
        if bad.any():
            raise MeshError(
                f"{int(bad.sum())} of {len(bad)} triangles have no area.",
                "Merge points that lie on each other before flattening.",
            )
        height = double_area / length
        foot = np.einsum("fi,fi->f", along, c - a) / length
        weights = np.zeros((len(mesh.faces), 3, 2))
        weights[:, 1, 0] = 1.0 / length
        weights[:, 1, 1] = -foot / (length * height)
        weights[:, 2, 1] = 1.0 / height
        weights[:, 0] = -weights[:, 1] - weights[:, 2]
        self.faces: Ints = mesh.faces
        self.areas_mm2: Floats = 0.5 * double_area
        self.weights: Floats = weights

    def jacobians(self, flat_mm: Floats) -> Floats:
        """(F, 2, 2) float: rows are flat x and y, columns the face's own axes."""
        result = np.empty((len(self.faces), 2, 2))
        _fill_jacobians(flat_mm, self.faces, self.weights, result)
        return result


@compiled
def _fill_jacobians(flat: Floats, faces: Ints, weights: Floats, out: Floats) -> None:
    for f in range(len(faces)):
        for a in range(2):
            for b in range(2):
                total = 0.0
                for k in range(3):
                    total += flat[faces[f, k], a] * weights[f, k, b]
                out[f, a, b] = total


def signed_singular_values(jacobians: Floats) -> tuple[Floats, Floats]:
    """Return (F,) larger and (F,) smaller singular values, the smaller negative where flipped."""
    a, b = jacobians[:, 0, 0], jacobians[:, 0, 1]
    c, d = jacobians[:, 1, 0], jacobians[:, 1, 1]
    keep = np.hypot(a + d, c - b) / 2.0
    turn = np.hypot(a - d, c + b) / 2.0
    return keep + turn, keep - turn


def singular_frames(jacobians: Floats) -> tuple[Floats, Floats]:
    """Return (F, 2, 2) rotations U and V with ``J = U diag(larger, smaller) V^T``.

    The smaller singular value carries the sign, as in :func:`signed_singular_values`.
    """
    a, b = jacobians[:, 0, 0], jacobians[:, 0, 1]
    c, d = jacobians[:, 1, 0], jacobians[:, 1, 1]
    # J is a similarity (angle of keep) plus an anti-similarity (angle of turn).
    keep = np.arctan2(c - b, a + d)
    turn = np.arctan2(c + b, a - d)
    return _rotations((turn + keep) / 2.0), _rotations((turn - keep) / 2.0)


def _rotations(angles_rad: Floats) -> Floats:
    cos, sin = np.cos(angles_rad), np.sin(angles_rad)
    return np.stack([np.stack([cos, -sin], axis=1), np.stack([sin, cos], axis=1)], axis=1)
