"""What the sheet has to give between the blank and the plate, and which way is up on it."""

from __future__ import annotations

import numpy as np

from fitkit.flatten.jacobian import FaceGradients, signed_singular_values, singular_frames
from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh

__all__ = ["mean_flat_direction", "strain_within", "stretch_field"]


def stretch_field(form: TriangleMesh, flat_mm: Floats) -> tuple[Floats, Floats]:
    """Return the principal stretches from the flat to the form.

    Returns
    -------
    stretch
        (F, 2) float, larger first: formed length over flat length.
    direction
        (F, 2) float, unit: the larger one's direction on the flat, its x not negative.
    """
    jacobians = FaceGradients(form).jacobians(flat_mm)
    larger, smaller = signed_singular_values(jacobians)
    u, _ = singular_frames(jacobians)
    # Where the map to the flat shrinks most, the way back stretches most.
    direction = u[:, :, 1]
    back = (direction[:, 0] < 0) | ((direction[:, 0] == 0) & (direction[:, 1] < 0))
    direction = np.where(back[:, None], -direction, direction)
    return np.stack([1.0 / smaller, 1.0 / larger], axis=1), direction


def strain_within(form: TriangleMesh, stretch: Floats, share: float) -> float:
    """Return the strain (absolute) that the given share of the plate's area stays within."""
    strain = np.abs(stretch - 1.0).max(axis=1)
    order = np.argsort(strain, kind="stable")
    covered = np.cumsum(form.face_areas_mm2()[order])
    place = int(np.searchsorted(covered, share * covered[-1]))
    return float(strain[order[min(place, len(order) - 1)]])


def mean_flat_direction(form: TriangleMesh, flat_mm: Floats, towards: Floats) -> Floats:
    """Return (2,): the mean over the flat of the gradient of height along ``towards``.

    ``towards`` is (3,) unit in the world. The result's length is 1 for a plane along it, and near
    0 for a plate square to it or one whose two halves point against each other.
    """
    height = form.vertices @ np.asarray(towards, dtype=np.float64)
    p = flat_mm[form.faces]
    h = height[form.faces]
    e1, e2 = p[:, 1] - p[:, 0], p[:, 2] - p[:, 0]
    h1, h2 = h[:, 1] - h[:, 0], h[:, 2] - h[:, 0]
    # Gradient times twice the area, so that the sum needs no division face by face.
    gradient = np.stack([h1 * e2[:, 1] - h2 * e1[:, 1], h2 * e1[:, 0] - h1 * e2[:, 0]], axis=1)
    double_area = e1[:, 0] * e2[:, 1] - e1[:, 1] * e2[:, 0]
    mean: Floats = gradient.sum(axis=0) / double_area.sum()
    return mean
