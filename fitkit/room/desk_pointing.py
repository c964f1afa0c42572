"""The pointer over the desk: what lies under it, what would be drawn to it, what it drags."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from fitkit.errors import FitkitError
from fitkit.room.design_state import DesignState, Stroke
from fitkit.workflow.draw_line import leaning_lines, next_leg, with_moved
from fitkit.workflow.fittings import with_place
from fitkit.workflow.pick_place import Picked, Ray, pick, place_of

if TYPE_CHECKING:
    from fitkit.geometry.surface_path import SurfacePath
    from fitkit.room.design_desk import DesignDesk

__all__ = ["Pointing"]


class Pointing:
    """What is pointed at."""

    def __init__(self, desk: DesignDesk) -> None:
        self._desk = desk
        self._hovers = 0
        self._drags = 0

    def at(
        self, patch: str | None, *, line: str | None = None, landmark: str | None = None
    ) -> None:
        """Light up a patch, on the body and on paper, or a line, or name a landmark."""
        now = self._desk.now
        if (patch, line, landmark) != (now.pointed, now.pointed_line, now.pointed_landmark):
            self._desk.show(pointed=patch, pointed_line=line, pointed_landmark=landmark)

    def picked(self, seen: DesignState, ray: Ray, stroke: Stroke) -> Picked | None:
        """Return what lies under the pointer; a line is not drawn onto what leans on it."""
        drawing = seen.tool == "line"
        if seen.lines is None:
            return None
        own = leaning_lines(seen.lines, stroke.line) if stroke.line else frozenset()
        return pick(seen.lines, ray, patches=seen.patches, landmarks=drawing, without=own)

    async def hover(self, ray: Ray | None) -> Picked | None:
        """Say what is under the pointer, and show how the line being drawn would run there."""
        desk, now = self._desk, self._desk.now
        self._hovers += 1
        mine = self._hovers
        if ray is None or now.lines is None:
            self._run_ahead(())
            self.at(None)
            return None
        picked = await asyncio.to_thread(self.picked, now, ray, now.stroke)
        ahead: Sequence[SurfacePath] = ()
        places = desk.drawing.places(now.stroke) if now.tool == "line" else []
        if picked is not None and places:
            with contextlib.suppress(FitkitError):  # no way leads there
                to = place_of(now.lines, picked)
                ahead = await asyncio.to_thread(
                    next_leg, now.lines, now.kind, places, to, other_side=now.both_sides
                )
        if mine != self._hovers or (places and places != desk.drawing.places(desk.now.stroke)):
            return picked  # the pointer has been elsewhere since
        self._run_ahead(ahead)
        landmark = None if picked is None else picked.landmark
        line = None if picked is None or landmark or now.tool == "patch" else picked.line
        patch = None if picked is None or line or now.tool == "line" else picked.patch
        self.at(patch, line=line, landmark=landmark)
        return picked

    def _run_ahead(self, ahead: Sequence[SurfacePath]) -> None:
        if ahead or self._desk.now.ahead:
            self._desk.show(ahead=ahead)

    async def drag(self, number: int, ray: Ray, *, keep: bool) -> None:
        """Move a place of what is chosen, counted from 1, under the pointer.

        Raises
        ------
        FitkitError
            When it is to be kept and cannot be laid; nothing has changed then.
        """
        desk, now = self._desk, self._desk.now
        if now.chosen_fitting is not None:
            await self._drag_fitting(number, ray, keep=keep)
            return
        name = now.chosen_line
        row = now.row("line", name)
        if now.lines is None or name is None or row is None:
            return
        own = leaning_lines(now.lines, name)
        picked = await asyncio.to_thread(pick, now.lines, ray, landmarks=True, without=own)
        if picked is None:
            desk.trying.end()
            return
        place = place_of(now.lines, picked)
        if row.get("kind") == "round":
            values: dict[str, Any] = {"centre": place}
            await (desk.editing.tell_line if keep else desk.trying.line)(name, values)
        elif keep:
            await desk.editing.tell_line(name, {}, moved={number: place})
        else:
            points = with_moved(row.get("points", []), {number: place})
            await desk.trying.line(name, {"points": points})

    async def _drag_fitting(self, number: int, ray: Ray, *, keep: bool) -> None:
        desk, now = self._desk, self._desk.now
        if now.lines is None or now.chosen is None or now.chosen_fitting is None:
            return
        self._drags += 1
        mine = self._drags
        lines = [line.name for line in now.lines.drawn.lines]  # it lies on a plate, not on a line
        picked = await asyncio.to_thread(pick, now.lines, ray, landmarks=True, without=lines)
        if picked is None or not keep:
            if mine == self._drags:  # not let go meanwhile
                desk.show(held=None if picked is None else (number, picked.meant_mm))
            return
        chosen, place = now.chosen, place_of(now.lines, picked)

        def moved() -> Mapping[str, Any]:
            return with_place(desk.now.row(chosen.section, chosen.name) or {}, number, place)

        try:
            await desk.editing.tell_row(chosen.section, chosen.name, moved)
        finally:
            desk.show(held=None)
