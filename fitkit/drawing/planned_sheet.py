"""A page before it is numbered."""

from __future__ import annotations

from dataclasses import dataclass

from fitkit.drawing.page import PageWindow
from fitkit.drawing.page_furniture import Neighbours, PageFrame

__all__ = ["PlannedSheet"]

_ALONE = Neighbours()


@dataclass(frozen=True, slots=True)
class PlannedSheet:
    """A page with its frame, its windows and, for a tile, its neighbours."""

    label: str
    frame: PageFrame
    windows: tuple[PageWindow, ...]
    around: Neighbours = _ALONE
