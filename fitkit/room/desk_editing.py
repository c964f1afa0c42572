"""Editing on the desk: lines and patches told, renamed, taken out, and steps back and forward."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Mapping
from functools import partial
from typing import TYPE_CHECKING, Any

from fitkit.room.design_state import Chosen
from fitkit.workflow.draw_line import free_name, mirrored_row, twin_name, with_moved
from fitkit.workflow.edit_job import add_rows, change_line, change_row, remove_row, rename_row
from fitkit.workflow.step_edit import step_edit

if TYPE_CHECKING:
    from fitkit.room.design_desk import DesignDesk
    from fitkit.workflow.edit_job import Section

__all__ = ["Editing"]


class Editing:
    """Changes of the job, one after the other.

    Each raises a ``FitkitError`` when it cannot be done; nothing has changed then.
    """

    def __init__(self, desk: DesignDesk) -> None:
        self._desk = desk

    # -- lines ---------------------------------------------------------------------------

    async def add_line(self, row: Mapping[str, Any], *, both_sides: bool = False) -> None:
        """Add a line told in full."""
        desk = self._desk
        async with desk.turn:
            assert desk.now.lines is not None
            taken = [design.name for design in desk.now.lines.told]
            rows: list[Mapping[str, Any]] = [row]
            if both_sides:
                rows.append(mirrored_row(free_name(twin_name(row["name"]), taken), row["name"]))
            await desk.lay_and_keep(rows, partial(add_rows, desk.session.job(), "line", rows))
        desk.choose("line", row["name"])

    async def tell_line(
        self,
        name: str,
        values: Mapping[str, Any],
        *,
        moved: Mapping[int, Mapping[str, Any]] | None = None,
    ) -> None:
        """Tell some values of a line anew, or move places of it, counted from 1."""
        async with self._desk.turn:
            await self.lay_told(name, values, moved=moved)

    async def lay_told(
        self,
        name: str,
        values: Mapping[str, Any],
        *,
        moved: Mapping[int, Mapping[str, Any]] | None = None,
    ) -> None:
        """Do as :meth:`tell_line`; hold the turn."""
        desk = self._desk
        desk.trying.end()
        row = {**(desk.now.row("line", name) or {}), **values}
        if moved:
            row["points"] = with_moved(row.get("points", []), moved)
        keep = partial(change_line, desk.session.job(), name, values, moved=moved)
        await desk.lay_and_keep([row], keep)

    # -- patches, and what is fitted to them -----------------------------------------------

    async def add_patch(self, name: str) -> None:
        """Name the patch round the place that was clicked."""
        region = self._desk.now.region
        if region is None:
            return
        row = {"name": " ".join(name.split()), **region.row}
        add = partial(add_rows, self._desk.session.job(), "patch", [row])
        await self.edit(add, then_choose=Chosen("patch", row["name"]))

    async def tell_row(
        self, section: Section, name: str, values: Callable[[], Mapping[str, Any]]
    ) -> None:
        """Set values of a patch, or of what is fitted to one; None takes one out.

        They are asked for once what was begun before is done, to be told of the row as it is then.
        """
        desk = self._desk
        async with desk.turn:
            was, now = desk.now.row(section, name) or {}, values()
            told = {key: value for key, value in now.items() if value is not None}
            gone = [key for key, value in now.items() if value is None and key in was]
            if not told and not gone:
                return
            job, whole = desk.session.job(), section != "patch"
            change = partial(change_row, job, section, name, told, without=gone, whole=whole)
            await self._make(change)
        await desk.cut()

    # -- either --------------------------------------------------------------------------

    async def edit(
        self, change: Callable[[], object], *, then_choose: Chosen | None = None
    ) -> None:
        """Change the job by a function of the workflow, and show what it is now."""
        async with self._desk.turn:
            await self._make(change, then_choose)
        await self._desk.cut()

    async def rename(self, section: Section, name: str, new: str) -> None:
        """Give a row another name."""
        desk, new = self._desk, " ".join(new.split())
        if new == name:
            return
        if section == "line" and desk.now.stroke.line == name:
            desk.drawing.lift()
        named = partial(rename_row, desk.session.job(), section, name, new)
        await self.edit(named, then_choose=Chosen(section, new))

    async def remove(self) -> None:
        """Take out of the job what is chosen, once what was begun before is done."""
        desk = self._desk
        async with desk.turn:
            chosen = desk.now.chosen
            if chosen is None:
                return
            job = desk.session.job()
            await self._make(partial(remove_row, job, chosen.section, chosen.name))
        await desk.cut()

    async def step(self, *, back: bool) -> None:
        """Take the last change back, or make it again, once what was begun before is done."""
        desk = self._desk
        async with desk.turn:
            if back and desk.now.stroke.first is not None:
                desk.drawing.lift()
                return
            desk.trying.end()
            desk.show(ahead=())
            await self._make(partial(step_edit, desk.session.job(), back=back))
        await desk.cut()

    async def _make(self, change: Callable[[], object], then_choose: Chosen | None = None) -> None:
        desk = self._desk
        await asyncio.to_thread(change)
        desk.session.changed()
        desk.show(region=None, **({} if then_choose is None else {"chosen": then_choose}))
        await desk.read_lines()
