"""What has to be bought to hold the plates."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

__all__ = ["Bought"]


@dataclass(frozen=True, slots=True)
class Bought:
    """Something to buy.

    Attributes
    ----------
    item, size
        Such as ``"buckle"``, ``"25 mm"``.
    count
        Pieces, both sides together.
    where
        What it is for: the strap's name.
    on
        The patches that it holds.
    length_mm
        Of each piece, for what is sold by length; None for what is counted.
    note
        Anything to mind.
    """

    item: str
    size: str
    count: int
    where: str
    on: tuple[str, ...]
    length_mm: float | None = None
    note: str = ""

    @classmethod
    def from_dict(cls, values: dict[str, Any]) -> Bought:
        """Return what was written as plain values."""
        return cls(**{**values, "on": tuple(values["on"])})
