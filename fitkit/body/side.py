"""Left and right, always the wearer's."""

from __future__ import annotations

from enum import StrEnum

__all__ = ["Side"]


class Side(StrEnum):
    """On which side of the wearer something sits."""

    LEFT = "left"
    RIGHT = "right"
    CENTRE = "centre"

    @property
    def other(self) -> Side:
        """The side it has after mirroring."""
        return {Side.LEFT: Side.RIGHT, Side.RIGHT: Side.LEFT, Side.CENTRE: Side.CENTRE}[self]
