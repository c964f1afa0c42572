"""Opening the room: one server on this machine, guarded, until it is closed by hand."""

from __future__ import annotations

import asyncio
import contextlib
import secrets
import socket
from collections.abc import Callable
from pathlib import Path

import uvicorn
from fastapi import FastAPI
from nicegui import core, ui

from fitkit.errors import InputError
from fitkit.room.guard import Guard, enter_path
from fitkit.room.looks import FAVICON
from fitkit.room.session import RoomSession
from fitkit.room.shell import add_pages

__all__ = ["HERE", "open_room"]

HERE = "127.0.0.1"
"""Where the room listens unless told otherwise: this machine alone."""

_SECONDS_TO_COME_BACK = 60.0
_MESSAGE_BYTES = 1 << 20


def open_room(
    shelf: Path,
    folder: Path | None = None,
    *,
    host: str = HERE,
    port: int = 0,
    opened: Callable[[str], None],
) -> None:
    """Serve the room until it is interrupted.

    Parameters
    ----------
    shelf
        The folder whose jobs can be opened and where new ones are made.
    folder
        The job to open at once.
    host, port
        What to listen on; port 0 takes a free one.
    opened
        Called with the address to open, the token in it, once the room listens.

    Raises
    ------
    InputError
        When the host or port cannot be listened on.
    """
    token = secrets.token_urlsafe(32)
    listening = _listening(host, port)
    port = listening.getsockname()[1]
    session = RoomSession(shelf, folder)
    app = FastAPI(docs_url=None, redoc_url=None, openapi_url=None)
    limits = add_pages(app, session)
    ui.run_with(
        app,
        title="Fitting room",
        favicon=FAVICON,
        language="en-US",
        dark=None,
        tailwind=False,
        binding_refresh_interval=None,
        reconnect_timeout=_SECONDS_TO_COME_BACK,
        gzip_middleware_factory=None,
        show_welcome_message=False,
    )
    # The guard checks where a request comes from; the socket library must not answer others
    # with leave of its own.
    core.sio.eio.cors_allowed_origins = []
    guard = Guard(
        app, token=token, host=host, port=port, names=(socket.gethostname(),), body_limits=limits
    )
    config = uvicorn.Config(
        guard,
        log_level="warning",
        access_log=False,
        server_header=False,
        date_header=False,
        ws_max_size=_MESSAGE_BYTES,
        timeout_graceful_shutdown=2,
    )
    shown = HERE if host in {"0.0.0.0", "::"} else host
    address = f"http://{f'[{shown}]' if ':' in shown else shown}:{port}{enter_path(token)}"
    asyncio.run(_serve(uvicorn.Server(config), listening, session, lambda: opened(address)))


async def _serve(
    server: uvicorn.Server,
    listening: socket.socket,
    session: RoomSession,
    opened: Callable[[], None],
) -> None:
    watching = asyncio.create_task(session.watch())
    serving = asyncio.create_task(server.serve(sockets=[listening]))
    try:
        while not server.started and not serving.done():
            await asyncio.sleep(0.05)
        if server.started:
            opened()
        with contextlib.suppress(KeyboardInterrupt):
            await serving
    finally:
        watching.cancel()
        await session.stop_work()


def _listening(host: str, port: int) -> socket.socket:
    try:
        family = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)[0][0]
        listening = socket.socket(family, socket.SOCK_STREAM)
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind((host, port))
    except (OSError, OverflowError) as error:
        where = f"{host}:{port}" if port else host
        raise InputError(
            f"The room cannot listen on {where}: {getattr(error, 'strerror', None) or error}.",
            "Leave --host and --port out, or name an address of this machine and a free port.",
        ) from error
    return listening
