"""What a sheet gives, face by face: along its grain, across it, and between the two."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from fitkit.flatten.flat_patch import FlatLine
from fitkit.geometry.arrays import Floats
from fitkit.materials.sheet_material import SheetMaterial

__all__ = ["GRAIN_LINE", "SheetLimits", "grain_direction", "sheet_limits"]

GRAIN_LINE = "grain"
"""What the line that shows the grain is called on patch and blank."""


@dataclass(frozen=True, slots=True, eq=False)
class SheetLimits:
    """Largest lengthening and shortening in each face's own principal directions.

    ``stretch`` (F,) float for the direction of the larger stretch, ``shrink`` (F,) for that of the
    smaller, as fractions.
    """

    stretch: Floats
    shrink: Floats


def grain_direction(lines: Iterable[FlatLine]) -> Floats | None:
    """Return the unit direction (2,) of the grain on a blank, None where none is drawn."""
    for line in lines:
        if line.line == GRAIN_LINE:
            way = line.points_mm[-1] - line.points_mm[0]
            along: Floats = way / np.linalg.norm(way)
            return along
    return None


def sheet_limits(
    material: SheetMaterial, stretch_direction: Floats, grain: Floats | None
) -> SheetLimits:
    """Return what a sheet gives in every face.

    Parameters
    ----------
    stretch_direction
        (F, 2) float, unit: direction of the larger stretch on the blank.
    grain
        (2,) float, unit: the grain's; where it is not known the lesser limit counts.

    Notes
    -----
    Between along and across the limit is the radius of the ellipse over the two.
    """
    if grain is None:
        count = len(stretch_direction)
        return SheetLimits(
            np.full(count, min(material.stretch_limit, material.stretch_across_limit)),
            np.full(count, min(material.shrink_limit, material.shrink_across_limit)),
        )
    along = np.square(stretch_direction @ grain)

    def limit(lengthwise: float, crosswise: float, share: Floats) -> Floats:
        radius: Floats = 1.0 / np.sqrt(share / lengthwise**2 + (1.0 - share) / crosswise**2)
        return radius

    return SheetLimits(
        limit(material.stretch_limit, material.stretch_across_limit, along),
        # The smaller stretch is square to the larger.
        limit(material.shrink_limit, material.shrink_across_limit, 1.0 - along),
    )
