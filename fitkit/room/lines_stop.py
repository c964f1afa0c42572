"""The stop *lines*: tape lines drawn on the body, and the patches they bound."""

from __future__ import annotations

from fastapi import FastAPI

from fitkit.room.page import RoomPage
from fitkit.room.session import RoomSession
from fitkit.room.viewer import add_viewer

__all__ = ["add_routes", "build"]


def add_routes(app: FastAPI, session: RoomSession) -> None:  # noqa: ARG001  every stop's signature
    """Add the view of the body, for the other stops too."""
    add_viewer(app)


def build(page: RoomPage) -> None:
    """Fill the page."""
