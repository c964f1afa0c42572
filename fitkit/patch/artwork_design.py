"""What a maker asks of an emblem on a plate."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

from fitkit.patch.design import Anchor

__all__ = ["ArtworkDesign", "OnTwin"]

OnTwin: TypeAlias = Literal["mirrored", "same", "none"]


@dataclass(frozen=True, slots=True)
class ArtworkDesign:
    """An emblem or ornament laid on a patch.

    Attributes
    ----------
    name
        As the maker calls it.
    on
        The patch.
    at
        Where its middle lies.
    width_mm
        Its width over the plate.
    turn_rad
        From the wearer's up, counter-clockwise seen from outside.
    twin
        How it lies on the mirrored twin of a paired patch.
    """

    name: str
    on: str
    at: Anchor
    width_mm: float
    turn_rad: float = 0.0
    twin: OnTwin = "mirrored"
