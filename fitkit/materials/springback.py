"""How much tighter a bend is made than it is to be: the sheet springs back.

The factor ``k`` is finished angle over tool angle; the middle of the sheet keeps its length, so the
radius there shrinks by it too. Where the metal trades have a table (*Tabellenbuch Metall*) that is
read; elsewhere, and beyond its largest radius, Gardiner's relation for an elastic, then perfectly
plastic sheet (F. J. Gardiner, "The springback of metals", Trans. ASME 79, 1957, pp. 1-9) gives
``k = 4 X^3 - 3 X + 1`` with ``X`` = tool radius times yield strength over modulus and thickness.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from fitkit.errors import InputError

__all__ = ["Springback", "springback"]

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
_TABLE = "springback: Tabellenbuch Metall (factors seen, steps from memory)"

# Yield strength over modulus, MPa: typical values of the Aluminum Association and, for annealed
# 70/30 brass and copper, of ASM Handbook vol. 2; all from memory.
_YIELD_OVER_MODULUS = {
    "aluminium 3003-H14": 145.0 / 69e3,
    "aluminium 5052-O": 90.0 / 70e3,
    "aluminium 5052-H32": 193.0 / 70e3,
    "aluminium 6061-O": 55.0 / 69e3,
    "brass": 105.0 / 110e3,
    "copper": 70.0 / 115e3,
}
_WORKED_OUT = "springback: Gardiner 1957 (relation seen; yield and modulus from memory)"


@dataclass(frozen=True, slots=True)
class Springback:
    """What a bend is made to, so that it springs back to what it is to be.

    Attributes
    ----------
    factor
        Finished angle over tool angle, above 0, at most 1.
    source
        Of the factor, with how far to trust it.
    tabled
        Whether a trade's table has it; else it is worked out from handbook values.
    """

    factor: float
    source: str
    tabled: bool = True

    def tool_radius_mm(self, inside_radius_mm: float, thickness_mm: float) -> float:
        """Return the tool's radius: ``k (r + s/2) - s/2``, not below zero."""
        return max(self.factor * (inside_radius_mm + 0.5 * thickness_mm) - 0.5 * thickness_mm, 0.0)

    def tool_angle_rad(self, turned_rad: float) -> float:
        """Return how far the tool has to turn the sheet: ``angle / k``."""
        return turned_rad / self.factor


def springback(material: str, inside_radius_mm: float, thickness_mm: float) -> Springback | None:
    """Return how a sheet springs back from a bend of a finished inside radius.

    The table's factors are read straight between its columns on a scale of logarithms; a bend
    tighter than its first springs back as that does; beyond its last Gardiner's relation goes on
    from there. None for a material whose temper is not known, and for what is no metal.

    Raises
    ------
    InputError
        When the radius is negative or the thickness is not above zero.
    """
    if inside_radius_mm < 0 or not thickness_mm > 0:
        raise InputError(
            "A bend needs a radius of zero or more and a thickness.", "Check the two numbers."
        )
    row = _ROWS.get(material)
    ratio = inside_radius_mm / thickness_mm
    if row is None:
        strain = _YIELD_OVER_MODULUS.get(material)
        return (
            None
            if strain is None
            else Springback(_worked_out(strain, ratio), _WORKED_OUT, tabled=False)
        )
    if ratio <= _RATIOS[-1]:
        at = math.log(max(ratio, _RATIOS[0]))
        return Springback(float(np.interp(at, np.log(_RATIOS), row)), _TABLE)
    return Springback(
        _worked_out(_strain_of(row[-1], _RATIOS[-1]), ratio),
        f"{_TABLE}; beyond its 100 t by Gardiner 1957 (seen)",
        tabled=False,
    )


def _worked_out(strain: float, ratio: float) -> float:
    """Return Gardiner's factor for a finished inside radius over thickness.

    With ``v`` the finished radius of the sheet's middle times ``strain`` over the thickness,
    ``k = X / v``, so ``4 X^3 - (3 + 1/v) X + 1 = 0``: of its three roots the middle one.
    """
    v = strain * (ratio + 0.5)
    third = (1.0 + 1.0 / (3.0 * v)) / 4.0
    turn = math.acos(-0.125 * third**-1.5)
    return 2.0 * math.sqrt(third) * math.cos((turn - 2.0 * math.pi) / 3.0) / v


def _strain_of(factor: float, ratio: float) -> float:
    """Return the yield strength over modulus by which Gardiner's relation gives a factor.

    ``k = 4 (k v)^3 - 3 k v + 1`` solved for ``k v`` by the same three cosines.
    """
    turn = math.acos(factor - 1.0)
    return math.cos((turn - 2.0 * math.pi) / 3.0) / factor / (ratio + 0.5)
