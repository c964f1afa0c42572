"""What a stop is handed to fill: the room's session, and parts that follow it as it changes."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Hashable
from dataclasses import dataclass
from typing import Any

from nicegui import context, ui
from nicegui.element import Element

from fitkit.errors import FitkitError
from fitkit.room.in_place import build_in_place
from fitkit.room.page_parts import words
from fitkit.room.session import RoomSession

__all__ = ["RoomPage"]

# What changes together is looked at once; what a page keeps for itself is looked at now and then.
_SECONDS_TO_GATHER = 0.03
_SECONDS_BETWEEN_LOOKS = 0.5


@dataclass(slots=True)
class _Part:
    """Something to do when what it depends on has changed, as long as ``within`` is there."""

    depends: Callable[[], Hashable]
    act: Callable[[], object]
    within: Element | None
    last: Hashable


class RoomPage:
    """One page in one browser tab.

    Its parts are looked at as soon as the session says that something changed. What else they
    depend on is found a little later, or at once after :meth:`look_soon`; asking has to be cheap.

    Parameters
    ----------
    session
        What all pages show.
    """

    def __init__(self, session: RoomSession) -> None:
        self.session = session
        self._parts: list[_Part] = []
        self._client = context.client
        self._loop = asyncio.get_running_loop()
        self._due: asyncio.TimerHandle | None = None
        session.followers.add(self.look_soon, within=self._client.content)
        ui.timer(_SECONDS_BETWEEN_LOOKS, self._look)

    def live(
        self,
        build: Callable[[], None],
        *,
        of: Callable[[], Hashable] | None = None,
        about: Callable[[], Hashable] | None = None,
    ) -> Element:
        """Build a part of the page here and now, and anew whenever something changes.

        What is built anew as it was stays where it is in the browser (:mod:`fitkit.room.in_place`).

        Parameters
        ----------
        build
            Makes the elements of the part; called inside an emptied box, in which is said what
            was wrong where it cannot.
        of
            Returns what the part depends on; the session's revision if not given.
        about
            Returns what its buttons and fields act on: those for another thing are new ones. The
            open job always is part of it.
        """
        box = ui.element("div").classes("fk-live")
        was: Hashable = None

        def told() -> None:
            try:
                build()
            except FitkitError as error:
                words(f"{error.cause} {error.remedy}", classes="fk-wrong-words")

        def anew() -> None:
            nonlocal was
            now = (self.session.folder, about and about())
            build_in_place(box, told, afresh=now != was)
            was = now

        self.follow(anew, of=of or (lambda: self.session.revision), within=box)
        anew()
        return box

    def follow(
        self,
        act: Callable[[], object],
        *,
        of: Callable[[], Hashable],
        within: Element | None = None,
    ) -> None:
        """Call ``act`` whenever what ``of`` returns has changed.

        ``within`` is an element that ``act`` changes: when that is gone, so is this.
        """
        self._parts.append(_Part(of, act, within, of()))

    def tell(self, error: FitkitError) -> None:
        """Show what went wrong and what to do."""
        told = self.session.in_words(error)
        ui.notify(told, type="negative", multi_line=True, timeout=12000)

    def try_to(self, act: Callable[[], Any], *, done: str = "") -> bool:
        """Change the job and tell every page; show what went wrong if it did."""
        try:
            act()
        except FitkitError as error:
            self.tell(error)
            return False
        finally:
            self.session.changed()
        if done:
            ui.notify(done)
        return True

    async def change(self, act: Callable[[], object], *, step: str, doing: str) -> None:
        """Change the job and have a step follow; show what went wrong if it did.

        As :meth:`fitkit.room.following.Following.change`.
        """
        try:
            await self.session.following.change(act, step=step, doing=doing)
        except FitkitError as error:
            self.tell(error)

    async def start(self, task: str, doing: str, **arguments: Any) -> None:
        """Begin long work, or say why it cannot be begun."""
        try:
            await self.session.start(task, doing, **arguments)
        except FitkitError as error:
            self.tell(error)

    def look_soon(self) -> None:
        """Look in a moment whether something that parts depend on has changed."""
        if self._due is None:
            self._due = self._loop.call_later(_SECONDS_TO_GATHER, self._look)

    def _look(self) -> None:
        if self._due is not None:
            self._due.cancel()
            self._due = None
        if self._client.content.is_deleted:
            return
        with self._client:
            for part in list(self._parts):
                if part.within is not None and part.within.is_deleted:
                    self._parts.remove(part)
                    continue
                try:
                    now = part.depends()
                    if now != part.last:
                        part.last = now
                        part.act()
                except FitkitError:
                    continue  # the job cannot be read as it is; the course says why
