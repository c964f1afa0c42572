"""The stop *paper*."""

from __future__ import annotations

from fitkit.room.page import RoomPage

__all__ = ["build"]


def build(page: RoomPage) -> None:
    """Fill the page."""
