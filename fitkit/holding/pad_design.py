"""What the maker says of a padding pad, as plain values."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["PadDesign"]


@dataclass(frozen=True, slots=True)
class PadDesign:
    """What the maker says of a pad.

    Attributes
    ----------
    name, on
        As written on it, and the patch that it lies under.
    material, thickness_mm, layers
        What it is cut from, and how many lie on each other.
    edge_mm
        How far inside the plate's own edge it ends.
    """

    name: str
    on: str
    thickness_mm: float
    material: str = "foam"
    layers: int = 1
    edge_mm: float = 10.0
