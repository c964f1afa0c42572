"""Drawing on the desk: what clicks and typed places make of the tool in hand."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Mapping
from functools import partial
from typing import TYPE_CHECKING, Any

from fitkit.room.design_state import Chosen, DesignState, Stroke, Tool
from fitkit.workflow.draw_line import DrawnKind, drawn_row, free_name, mirrored_row, twin_name
from fitkit.workflow.edit_job import add_rows, extend_line
from fitkit.workflow.pick_place import Picked, Ray, place_of

if TYPE_CHECKING:
    from fitkit.room.design_desk import DesignDesk

__all__ = ["Drawing"]


class Drawing:
    """The tool in hand, and the line that is drawn with it."""

    def __init__(self, desk: DesignDesk) -> None:
        self._desk = desk

    # -- tools ---------------------------------------------------------------------------

    def take(self, tool: Tool) -> None:
        """Take a tool in hand; what was begun with another is let go."""
        self._lift(tool=tool)

    def run(self, kind: DrawnKind) -> None:
        """Say how the next line runs."""
        self._lift(kind=kind)

    def draw_on(self, name: str) -> None:
        """Go on with a line from its end."""
        row = self._desk.now.row("line", name)
        if row is not None:
            self._lift(tool="line", kind=row["kind"], stroke=Stroke(line=name))

    def lift(self) -> None:
        """Begin no longer where the last line ended; what was clicked before is drawn still."""
        self._lift()

    def _lift(self, **then: Any) -> None:
        self._desk.trying.end()
        cleared = {"stroke": Stroke(), "ahead": (), "region": None, "missed": False}
        self._desk.show(**(cleared | then))

    # -- places --------------------------------------------------------------------------

    def click(self, ray: Ray) -> Awaitable[None]:
        """Do at a place what the tool does that is in hand now, when its turn has come.

        Raises
        ------
        FitkitError
            When it cannot be done; nothing has changed then.
        """
        return self._click(ray, self._desk.now)

    async def _click(self, ray: Ray, meant: DesignState) -> None:
        desk = self._desk
        if meant.lines is None:
            return
        async with desk.turn:
            picked = await asyncio.to_thread(desk.pointing.picked, desk.now, ray, meant.stroke)
            missed = picked is None and desk.now.stroke is meant.stroke
            if missed != desk.now.missed:
                desk.show(missed=missed)
            if picked is None or desk.now.lines is None:
                return
            if meant.tool == "line":
                await self._draw_to(place_of(desk.now.lines, picked), meant)
            elif meant.tool == "patch":
                await self._find_region(picked, meant)
            elif picked.line is not None:
                desk.choose("line", picked.line)
            elif picked.patch is not None:
                desk.choose("patch", picked.patch)

    async def place(self, place: Mapping[str, Any]) -> None:
        """Draw on to a place that was typed.

        Raises
        ------
        FitkitError
            When it cannot be done; nothing has changed then.
        """
        meant = self._desk.now
        async with self._desk.turn:
            await self._draw_to(place, meant)

    async def close(self) -> None:
        """Join the end of the line being drawn to its start, and lift the pen.

        Raises
        ------
        FitkitError
            When it cannot be done; nothing has changed then.
        """
        desk, stroke = self._desk, self._desk.now.stroke
        async with desk.turn:
            if stroke.line is None:
                return
            await desk.editing.lay_told(stroke.line, {"closed": True})
            if desk.now.stroke is stroke:
                self.lift()

    def places(self, stroke: Stroke) -> list[Mapping[str, Any]]:
        """Return the places of a stroke so far."""
        if stroke.first is not None:
            return [stroke.first]
        row = self._desk.now.row("line", stroke.line)
        return list(row.get("points", [])) if row else []

    async def _draw_to(self, place: Mapping[str, Any], meant: DesignState) -> None:
        desk, stroke, lines = self._desk, meant.stroke, self._desk.now.lines
        assert lines is not None
        places = self.places(stroke)
        if not places:
            stroke.first = dict(place)
            desk.show()
            return
        if stroke.line is None:
            taken = [design.name for design in lines.told]
            name = free_name("line", taken)
            told = partial(drawn_row, lines, name, meant.kind, [*places, place])
            rows = [await asyncio.to_thread(told)]
            if meant.both_sides:
                rows.append(mirrored_row(free_name(twin_name(name), taken), name))
            keep = partial(add_rows, desk.session.job(), "line", rows)
        else:
            name = stroke.line
            rows = [{**(desk.now.row("line", name) or {}), "points": [*places, dict(place)]}]
            keep = partial(extend_line, desk.session.job(), name, place)
        await desk.lay_and_keep(rows, keep)
        stroke.first, stroke.line = None, None if meant.kind == "round" else name
        ahead = () if desk.now.stroke is stroke else desk.now.ahead
        desk.show(chosen=Chosen("line", name), ahead=ahead)

    async def _find_region(self, picked: Picked, meant: DesignState) -> None:
        from fitkit.workflow.design_view import region_at

        desk = self._desk
        desk.show(region=None)
        await desk.cut()  # a line drawn a moment ago bounds what is clicked now
        if desk.now.patches is None:
            return
        region = await asyncio.to_thread(region_at, desk.now.patches, picked.point)
        if desk.now.stroke is meant.stroke:
            desk.show(region=region)
