"""Trying on the desk: a line as it would run while something is dragged or slid, not kept yet."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from fitkit.errors import FitkitError

if TYPE_CHECKING:
    from fitkit.room.design_desk import DesignDesk

__all__ = ["Trying"]


class Trying:
    """The one line that is tried; while it is laid, of all that come meanwhile the last is next."""

    def __init__(self, desk: DesignDesk) -> None:
        self._desk = desk
        self._ended = 0
        self._laying = False
        self._wanted: tuple[str, Mapping[str, Any]] | None = None

    async def line(self, name: str, values: Mapping[str, Any]) -> None:
        """Show a line as it would run, and all that lean on it, without keeping it."""
        from fitkit.workflow.design_view import redrawn_lines

        self._wanted = (name, values)
        if self._laying:
            return
        self._laying = True
        try:
            while self._wanted is not None:
                (name, values), self._wanted = self._wanted, None
                row, lines = self._desk.now.row("line", name), self._desk.now.lines
                ended = self._ended
                if row is None or lines is None:
                    return
                with contextlib.suppress(FitkitError):  # it stays where it could still be laid
                    rows = [{**row, **values}]
                    tried = await asyncio.to_thread(redrawn_lines, lines, rows)
                    if ended == self._ended:
                        self._desk.show(trial=tried)
        finally:
            self._laying = False

    def end(self) -> None:
        """Show no trial any more, nor one that is still being laid."""
        self._ended += 1
        self._wanted = None
        if self._desk.now.trial is not None:
            self._desk.show(trial=None)
