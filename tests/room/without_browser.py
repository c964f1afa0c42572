"""Pages of the room that no browser stands behind: buttons pressed, fields filled, words read."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import asynccontextmanager
from typing import Any

from nicegui import Client, core
from nicegui.element import Element
from nicegui.page import page

from fitkit.room.page import RoomPage
from fitkit.room.session import RoomSession

__all__ = ["come_about", "fill", "named", "offered", "opened_page", "press", "said"]


@asynccontextmanager
async def opened_page(session: RoomSession) -> AsyncIterator[RoomPage]:
    """Yield a page of a session, to be built on; what it left running ends with the block."""
    before, core.loop = core.loop, asyncio.get_running_loop()
    known = asyncio.all_tasks()
    try:
        with Client(page("/test"), request=None):
            yield RoomPage(session)
    finally:
        left = asyncio.all_tasks() - known
        for task in left:
            task.cancel()
        await asyncio.gather(*left, return_exceptions=True)
        core.loop = before


def named(within: Element, name: str) -> Element:
    """Return the element that hears of something and is called by a name."""
    found = [one for one in within.descendants() if name in _names(one)]
    assert len(found) == 1, (name, [list(_names(one)) for one in within.descendants()])
    return found[0]


def offered(within: Element, name: str) -> bool:
    """Whether something of a name can be pressed or filled in."""
    return any(name in _names(one) for one in within.descendants())


def press(within: Element, name: str) -> None:
    """Press a button."""
    _tell(named(within, name), [])


def fill(within: Element, name: str, value: Any) -> None:
    """Fill a field in and leave it, or choose."""
    _tell(named(within, name), [json.dumps(value)])


def said(within: Element) -> str:
    """Return all words in an element."""
    return " ".join(str(one._text) for one in within.descendants() if one._text)


async def come_about(holds: Callable[[], bool]) -> None:
    """Wait until something holds."""
    for _ in range(6000):
        if holds():
            return
        await asyncio.sleep(0.01)
    raise AssertionError("it did not come about")


def _tell(element: Element, args: Any) -> None:
    (listener,) = element._event_listeners.values()
    element.client.handle_event({"id": element.id, "listener_id": listener.id, "args": args})


def _names(element: Element) -> Iterator[str]:
    if element._event_listeners:
        told = (element._props.get(key) for key in ("aria-label", "data-key", "label"))
        yield from (str(one) for one in told if one)
