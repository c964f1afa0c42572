"""The address that the drawings and pictures of emblems come to."""

from __future__ import annotations

import asyncio
from collections.abc import Mapping

from fastapi import FastAPI, Request
from fastapi.responses import JSONResponse, Response
from starlette.requests import ClientDisconnect

from fitkit.errors import FitkitError
from fitkit.room.session import RoomSession
from fitkit.workflow.take_in_emblem import arriving_emblem, take_in_emblem

__all__ = ["EMBLEM_ADDRESS", "add_emblem_routes"]

EMBLEM_ADDRESS = "/drop/emblem"
"""Where each is sent, as the body of a request of its own."""

_MOST_BYTES = 30_000_000


def add_emblem_routes(app: FastAPI, session: RoomSession) -> Mapping[str, int]:
    """Add the address; return the most bytes that a request to it may send."""

    @app.post(EMBLEM_ADDRESS)
    async def drop(request: Request) -> Response:
        try:
            with arriving_emblem(session.job()) as arriving:
                async for piece in request.stream():
                    await asyncio.to_thread(arriving.write, piece)
                name = await asyncio.to_thread(take_in_emblem, session.job(), arriving)
        except FitkitError as error:
            return JSONResponse({"refused": f"{error.cause} {error.remedy}"})
        except ClientDisconnect:
            return JSONResponse({"refused": "It did not arrive whole."}, 400)
        session.changed()
        return JSONResponse({"taken": name})

    return {EMBLEM_ADDRESS: _MOST_BYTES}
