"""One sheet with its parts as a drawing that can be worked on."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from nicegui.element import Element

from fitkit.sheets.nesting import LaidSheet

__all__ = ["SheetView"]


class SheetView(Element, component="sheet_view.js"):
    """A sheet.

    Parameters
    ----------
    laid
        What lies on it.
    moved
        Called with a part's title, how far it was moved in mm, right and up, and by how many
        degrees it was turned counter-clockwise about its own middle.
    """

    def __init__(
        self,
        laid: LaidSheet,
        *,
        moved: Callable[[str, tuple[float, float], float], Any],
    ) -> None:
        super().__init__()
        self._props["sheet"] = _told(laid)
        self.on("moved", lambda event: moved(*_moved(event.args)))


def _moved(told: dict[str, Any]) -> tuple[str, tuple[float, float], float]:
    right, up = told["by"]
    return str(told["part"]), (float(right), float(up)), float(told["turn"])


def _told(laid: LaidSheet) -> dict[str, Any]:
    parts = []
    for placed in laid.placed:
        outline = placed.outline_mm()
        polygon = placed.polygon()
        middle = polygon.representative_point()
        parts.append(
            {
                "title": placed.part.title,
                "number": placed.part.number,
                "pinned": placed.pinned,
                "outline": outline.round(2).tolist(),
                "middle": [round(middle.x, 1), round(middle.y, 1)],
                "room": round(polygon.exterior.distance(middle), 1),
            }
        )
    return {
        "title": laid.title,
        "size": list(laid.stock.size_mm),
        "outline": laid.stock.outline_mm.round(2).tolist(),
        "bad": [zone.round(2).tolist() for zone in laid.stock.bad_zones_mm],
        "parts": parts,
    }
