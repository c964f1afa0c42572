"""An address that dropped files come to, each as the body of a request of its own."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

from fastapi import FastAPI, Request
from fastapi.responses import JSONResponse, Response
from starlette.requests import ClientDisconnect

from fitkit.errors import FitkitError
from fitkit.job.arriving_file import ArrivingFile
from fitkit.room.session import RoomSession

__all__ = ["add_drop_route"]

_Arriving = TypeVar("_Arriving", bound=ArrivingFile)


def add_drop_route(
    app: FastAPI,
    session: RoomSession,
    address: str,
    arriving: Callable[[Path], _Arriving],
    take: Callable[[Path, _Arriving], str | None],
) -> None:
    """Add an address; what comes to it is written as it arrives, and every page is told.

    Parameters
    ----------
    arriving
        Returns what a file on its way into a job's folder is written to.
    take
        Keeps a file that has arrived whole; returns its name there, None when the job has it
        already.
    """

    @app.post(address)
    async def drop(request: Request) -> Response:
        try:
            with arriving(session.job()) as file:
                async for piece in request.stream():
                    await asyncio.to_thread(file.write, piece)
                name = await asyncio.to_thread(take, session.job(), file)
        except FitkitError as error:
            return JSONResponse({"refused": session.in_words(error)})
        except ClientDisconnect:
            return JSONResponse({"refused": "It did not arrive whole."}, 400)
        session.changed()
        return JSONResponse({"taken": name} if name else {"refused": "It is there already."})
