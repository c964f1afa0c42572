"""How large a blank is cut for the way its plate will be made."""

from __future__ import annotations

from typing import assert_never

import numpy as np

from fitkit.flatten.jacobian import FaceGradients, signed_singular_values
from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh
from fitkit.materials.forming import Forming
from fitkit.materials.sheet_material import SheetMaterial, sheet_material_named
from fitkit.patch.design import PatchDesign

__all__ = ["forming_of", "forming_scale"]


def forming_of(design: PatchDesign) -> Forming:
    """Return how a patch is made: as the maker says, else as its material usually is."""
    return design.forming or sheet_material_named(design.material).forming


def forming_scale(
    form: TriangleMesh, flat_mm: Floats, forming: Forming, material: SheetMaterial
) -> float:
    """Return what a flat map is multiplied by to become the blank.

    A map's ratio of largest to smallest stretch does not change with its size; its size decides
    how much of it is stretch and how much shrink.

    Parameters
    ----------
    flat_mm
        (V, 2) float mm, no face flipped.

    Notes
    -----
    ``dish``: nothing shrinks; ``raise``: nothing stretches; ``balanced`` and ``roll``: the largest
    stretch is the inverse of the largest shrink; ``soft``: stretch and shrink each use the same
    share of the material's limit, counted in logarithms.
    """
    larger, smaller = signed_singular_values(FaceGradients(form).jacobians(flat_mm))
    # A blank multiplied by k leaves 1 / k of every stretch.
    most, least = 1.0 / float(smaller.min()), 1.0 / float(larger.max())
    match forming:
        case "dish":
            return least
        case "raise":
            return most
        case "balanced" | "roll":
            return float(np.sqrt(most * least))
        case "soft":
            gives = np.log1p(material.stretch_limit), -np.log1p(-material.shrink_limit)
            share = float(gives[0] / (gives[0] + gives[1]))
            return float(most ** (1.0 - share) * least**share)
        case _:
            assert_never(forming)
