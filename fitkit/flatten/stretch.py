"""What the sheet has to give between the blank and the plate."""

from __future__ import annotations

import numpy as np

from fitkit.flatten.jacobian import FaceGradients, signed_singular_values, singular_frames
from fitkit.geometry.arrays import Floats, Ints
from fitkit.geometry.mesh import TriangleMesh

__all__ = [
    "area_strain",
    "at_flat_vertices",
    "governing_strain",
    "strain_contour_levels",
    "strain_within",
    "stretch_field",
]

# Contour steps in per cent, the finest that gives no more than this many lines is taken.
_STEPS_PERCENT = (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0)
_MOST_CONTOURS = 9


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


def governing_strain(stretch: Floats) -> Floats:
    """(F,) float: of each face's two principal strains the one further from none, signed.

    Parameters
    ----------
    stretch
        (F, 2) float, principal stretches; 1 is none.
    """
    strain = stretch - 1.0
    larger = np.abs(strain[:, 0]) >= np.abs(strain[:, 1])
    governing: Floats = np.where(larger, strain[:, 0], strain[:, 1])
    return governing


def area_strain(stretch: Floats) -> Floats:
    """(F,) float: by what share each face's area grows from blank to plate.

    Unlike the governing strain it has no leap where a face must stretch one way and shrink the
    other by as much, which on a blank of least worst strain is much of it.
    """
    growth: Floats = stretch.prod(axis=1) - 1.0
    return growth


def at_flat_vertices(values: Floats, flat_mm: Floats, faces: Ints) -> Floats:
    """(V,) float: mean of the values (F,) of the faces round each vertex, by area on the flat."""
    a, b, c = (flat_mm[faces[:, i]] for i in range(3))
    area = np.abs((b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]) + 1e-12
    total, weight = np.zeros(len(flat_mm)), np.zeros(len(flat_mm))
    for corner in range(3):
        np.add.at(total, faces[:, corner], area * values)
        np.add.at(weight, faces[:, corner], area)
    return total / np.where(weight > 0, weight, 1.0)


def strain_contour_levels(low: float, high: float) -> list[float]:
    """Round levels in per cent between two values without zero, fewer than ten."""
    for step in _STEPS_PERCENT:
        first, last = int(np.ceil(low / step)), int(np.floor(high / step))
        levels = [i * step for i in range(first, last + 1) if i]
        if len(levels) <= _MOST_CONTOURS:
            return levels
    return []
