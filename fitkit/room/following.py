"""What is made anew by itself after a change: at once, or when what is going on is done.

A change can come at any time: while work is being started, while it runs, or on the heels of
another. What follows it is therefore wished for, and begun once no work goes on and nothing is
being changed; whether it is still needed is asked only then.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from typing import TYPE_CHECKING

from fitkit.errors import FitkitError
from fitkit.job.steps import steps_before

if TYPE_CHECKING:
    from fitkit.room.session import RoomSession
    from fitkit.room.work import Work

__all__ = ["Following"]


class Following:
    """The steps of the open job that are to follow a change."""

    def __init__(self, session: RoomSession) -> None:
        self._session = session
        self._wished: dict[str, str] = {}
        self._cut_short: set[str] = set()
        self._going: tuple[str, Work] | None = None
        self._tasks: set[asyncio.Task[None]] = set()

    async def change(self, act: Callable[[], object], *, step: str, doing: str) -> None:
        """Change the job in a thread, one change after the other, and have a step follow.

        Work that follows an earlier change is stopped: it is of what changes now. Other work goes
        on, and the step follows it. Nothing is made where a step before it would have to be, as a
        scan, or where it has never been made.

        Parameters
        ----------
        act
            Changes the job. Where it raises, the step follows what was changed before.
        step
            Name of the step.
        doing
            What is then being done, in words for the maker.
        """
        session = self._session
        folder = session.folder
        async with session.turn:
            await self._leave_off()
            try:
                await asyncio.to_thread(act)
            finally:
                if session.folder == folder:
                    self._wished[step] = doing
                session.changed()
                self.go_on()

    def go_on(self) -> None:
        """Begin what is wished for, as soon as no work goes on and nothing is being changed."""
        if self._wished:
            task = asyncio.create_task(self._begin())
            self._tasks.add(task)
            task.add_done_callback(self._tasks.discard)

    def forget(self) -> None:
        """Wish for nothing any more."""
        self._wished.clear()
        self._cut_short.clear()

    async def _leave_off(self) -> None:
        """Stop what follows an earlier change; hold the turn."""
        session = self._session
        if self._going is None or not session.working or self._going[1] is not session.work:
            return
        step, work = self._going
        await work.stop()
        # It may have made the step and not yet all that belongs to it.
        self._cut_short.add(step)
        session.work = None  # so that nobody reads that it was stopped

    async def _begin(self) -> None:
        session = self._session
        async with session.turn:
            while self._wished and not session.working:
                step, doing = self._wished.popitem()
                if not self._is_due(step):
                    continue
                await session.begin("make", doing, until=step)
                if session.work is not None:
                    self._going = step, session.work

    def _is_due(self, step: str) -> bool:
        cut_short = step in self._cut_short
        self._cut_short.discard(step)
        try:
            states = {one.step: one.state for one in self._session.check().states}
        except FitkitError:
            return False  # the job is gone, which the head of the page tells
        if any(states.get(earlier, "fresh") != "fresh" for earlier in steps_before(step)):
            return False
        return cut_short or states.get(step) in ("stale", "changed")
