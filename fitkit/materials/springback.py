"""How much tighter a bend is made than it is to be: the sheet springs back.

Factors by finished radius over thickness, with the tool's radius and angle that follow, as in the
tables of metal trades (*Tabellenbuch Metall*): finished angle over tool angle is ``k``, and the
neutral line keeps its length.
"""

from __future__ import annotations

import math

import numpy as np

from fitkit.errors import InputError

__all__ = ["LARGEST_RATIO", "springback_factor", "tool_angle_rad", "tool_radius_mm"]

# Factors seen on the table's page; its steps of the ratio from memory.
_RATIOS = (1.0, 1.6, 2.5, 4.0, 6.3, 10.0, 16.0, 25.0, 40.0, 63.0, 100.0)
_SOFT = (0.99, 0.99, 0.99, 0.99, 0.98, 0.98, 0.97, 0.97, 0.96, 0.95, 0.93)
_HARD = (0.98, 0.98, 0.97, 0.96, 0.95, 0.93, 0.90, 0.86, 0.82, 0.76, 0.72)
_STEEL = (0.99, 0.99, 0.99, 0.97, 0.96, 0.96, 0.93, 0.90, 0.85, 0.77, 0.66)
# Soft: Al 99.0, near 1100 and 3003; hard: AlSiMgMn, the family of 6061; steel: DC01.
_ROWS = {
    "aluminium 1100-O": _SOFT,
    "aluminium 3003-O": _SOFT,
    "aluminium 6061-T6": _HARD,
    "steel": _STEEL,
}

LARGEST_RATIO = _RATIOS[-1]
"""Finished radius over thickness beyond which the table says nothing."""


def springback_factor(material: str, inside_radius_mm: float, thickness_mm: float) -> float | None:
    """Return the factor k, straight between the table's columns on a scale of logarithms.

    None for a material or a radius that the table does not have. The row of Al 99.0 stands for
    1100-O and 3003-O, that of AlSiMgMn for 6061-T6.
    """
    if inside_radius_mm < 0 or not thickness_mm > 0:
        raise InputError(
            "A bend needs a radius of zero or more and a thickness.", "Check the two numbers."
        )
    row = _ROWS.get(material)
    ratio = inside_radius_mm / thickness_mm
    if row is None or not _RATIOS[0] <= ratio <= LARGEST_RATIO:
        return None
    return float(np.interp(math.log(ratio), np.log(_RATIOS), row))


def tool_radius_mm(factor: float, inside_radius_mm: float, thickness_mm: float) -> float:
    """Return the tool's radius: ``k (r + s/2) - s/2``."""
    return factor * (inside_radius_mm + 0.5 * thickness_mm) - 0.5 * thickness_mm


def tool_angle_rad(factor: float, turned_rad: float) -> float:
    """Return how far the tool has to turn the sheet: ``angle / k``."""
    return turned_rad / factor
