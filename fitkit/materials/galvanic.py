"""Metals that eat each other where they touch and sweat or rain wets them."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["INDOORS_V", "METALS", "WET_V", "Couple", "couple", "metal_of"]

# Rest potentials in flowing sea water against a calomel electrode, V: a galvanic series as printed
# on corrosion pages (seen; 3003, carbon steel, 304 passive; brass is the middle of what is printed
# for yellow brass, -0.30 to -0.40). MIL-STD-889's order in sea water (seen) puts aluminium, steel
# and the two copper metals alike. Sweat is salt water, so this is the series to go by.
_POTENTIAL_V = {
    "aluminium": -0.79,
    "steel": -0.61,
    "copper": -0.36,
    "brass": -0.35,
    "stainless": -0.08,
}

METALS = tuple(_POTENTIAL_V)
"""Metals of sheets and rivets, by family."""

WET_V = 0.15
"""How far apart two metals may be outdoors, in damp or salt: anodic-index practice (seen)."""

INDOORS_V = 0.25
"""The same for dry rooms whose air is not kept dry: anodic-index practice (seen)."""


@dataclass(frozen=True, slots=True)
class Couple:
    """Two metals in touch.

    Attributes
    ----------
    eaten, spared
        Families: the less noble one, which corrodes, and the other. The same for one metal.
    apart_v
        Between their potentials, V.
    """

    eaten: str
    spared: str
    apart_v: float


def metal_of(material: str) -> str | None:
    """Return the family of a sheet's or rivet's metal, None for what is none.

    ``"aluminium 3003-H14"`` is of the family ``"aluminium"``.
    """
    family = material.split(" ", 1)[0]
    return family if family in _POTENTIAL_V else None


def couple(first: str, second: str) -> Couple:
    """Return what two families of :data:`METALS` do to each other."""
    eaten, spared = sorted((first, second), key=lambda metal: _POTENTIAL_V[metal])
    return Couple(eaten, spared, round(_POTENTIAL_V[spared] - _POTENTIAL_V[eaten], 2))
