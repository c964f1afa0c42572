"""The address that the drawings and pictures of emblems come to."""

from __future__ import annotations

from collections.abc import Mapping

from fastapi import FastAPI

from fitkit.room.drop_route import add_drop_route
from fitkit.room.session import RoomSession
from fitkit.workflow.take_in_emblem import arriving_emblem, take_in_emblem

__all__ = ["EMBLEM_ADDRESS", "add_emblem_routes"]

EMBLEM_ADDRESS = "/drop/emblem"
"""Where each is sent, as the body of a request of its own."""

_MOST_BYTES = 30_000_000


def add_emblem_routes(app: FastAPI, session: RoomSession) -> Mapping[str, int]:
    """Add the address; return the most bytes that a request to it may send."""
    add_drop_route(app, session, EMBLEM_ADDRESS, arriving_emblem, take_in_emblem)
    return {EMBLEM_ADDRESS: _MOST_BYTES}
