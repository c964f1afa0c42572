"""A view of the body with buttons for its sides, as several stops show it."""

from __future__ import annotations

from fitkit.room.page_parts import box, button
from fitkit.room.viewer import Viewer

__all__ = ["turning_view"]

_SIDES = ("front", "left", "back", "right", "all")


def turning_view(label: str) -> Viewer:
    """Put a view of the body on the page, to be turned by hand, and buttons that turn it."""
    with box("fk-view-box"):
        viewer = Viewer(label)
    with box("fk-row"):
        for side in _SIDES:
            button(
                side.capitalize(),
                lambda side=side: viewer.look(side),
                small=True,
                label=f"See the body from the {side}" if side != "all" else "See all of the body",
            )
    return viewer
