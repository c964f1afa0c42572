"""Asks the room's routes without a network, as the room's own page would."""

from __future__ import annotations

import asyncio
from typing import Any

import httpx

__all__ = ["Asking"]


class Asking:
    """One browser that has been let in.

    Parameters
    ----------
    app
        ASGI application, the guard included.
    here
        The room's address.
    enter
        The path that lets in.
    """

    def __init__(self, app: Any, here: str, enter: str) -> None:
        self._app = app
        self._here = here
        self._cookies = httpx.Cookies()
        self._cookies = self.get(enter).cookies

    def get(self, path: str) -> httpx.Response:
        return asyncio.run(self._asked("GET", path))

    def post(self, path: str, **more: Any) -> httpx.Response:
        return asyncio.run(self._asked("POST", path, **more))

    async def _asked(self, method: str, path: str, **more: Any) -> httpx.Response:
        async with httpx.AsyncClient(
            transport=httpx.ASGITransport(self._app),
            base_url=self._here,
            headers={"origin": self._here},
            cookies=self._cookies,
        ) as client:
            return await client.request(method, path, **more)
