"""What the maker says of a soft piece between two plates, as plain values."""

from __future__ import annotations

from dataclasses import dataclass

from fitkit.patch.design import Anchor

__all__ = ["GussetDesign"]


@dataclass(frozen=True, slots=True)
class GussetDesign:
    """What the maker says of a soft piece between two plates.

    Attributes
    ----------
    name, between
        As written on it, and the two patches.
    at
        A place in the gap.
    material, thickness_mm
        What it is cut from.
    under_mm
        How far it lies under each plate.
    seam_mm
        Allowance beyond that all round.
    reach_mm
        Edges farther apart than this have no gap between them.
    paired
        Whether there is a mirrored one on the wearer's other side.
    """

    name: str
    between: tuple[str, str]
    at: Anchor
    material: str = "leather"
    thickness_mm: float = 1.5
    under_mm: float = 25.0
    seam_mm: float = 10.0
    reach_mm: float = 80.0
    paired: bool = False
