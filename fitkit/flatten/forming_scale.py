"""How large a blank is cut for the way its plate will be made."""

from __future__ import annotations

from typing import assert_never

import numpy as np
from scipy.optimize import brentq

from fitkit.flatten.sheet_limits import sheet_limits
from fitkit.flatten.stretch import stretch_field
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
    form: TriangleMesh,
    flat_mm: Floats,
    forming: Forming,
    material: SheetMaterial,
    *,
    grain: Floats | None = None,
    evened: bool = False,
) -> float:
    """Return what a flat map is multiplied by to become the blank.

    A map's ratio of largest to smallest stretch does not change with its size; its size decides
    how much of it is stretch and how much shrink.

    Parameters
    ----------
    flat_mm
        (V, 2) float mm, no face flipped.
    grain
        (2,) float, unit: direction of the sheet's grain on it, where it is known.
    evened
        Whether the map's own size is the one of least strain on the whole; that is kept then where
        neither stretch nor shrink is favoured.

    Notes
    -----
    ``dish``: nothing shrinks; ``raise``: nothing stretches; ``balanced`` and ``roll``: the largest
    stretch is the inverse of the largest shrink; ``soft``: stretch and shrink each use the same
    share of what the material gives there, counted in logarithms.
    """
    stretch, direction = stretch_field(form, flat_mm)
    # A blank multiplied by k leaves 1 / k of every stretch.
    most, least = float(stretch.max()), float(stretch.min())
    match forming:
        case "dish":
            return least
        case "raise":
            return most
        case "balanced" | "roll":
            return 1.0 if evened else float(np.sqrt(most * least))
        case "soft":
            limits = sheet_limits(material, direction, grain)
            larger, smaller = np.log(stretch).T
            gives, takes = np.log1p(limits.stretch), -np.log1p(-limits.shrink)

            def unshared(log_size: float) -> float:
                stretched = ((larger - log_size) / gives).max()
                return float(stretched - ((log_size - smaller) / takes).max())

            low, high = np.log(least), np.log(most)
            if high - low < 1e-12:
                return most
            return float(np.exp(brentq(unshared, low, high, xtol=1e-14)))
        case _:
            assert_never(forming)
