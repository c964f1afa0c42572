"""What the sheet has to give between the blank and the plate."""

from __future__ import annotations

import numpy as np

from fitkit.flatten.jacobian import FaceGradients, signed_singular_values, singular_frames
from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh

__all__ = ["strain_within", "stretch_field"]


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
