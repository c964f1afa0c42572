"""What is being drawn in the room: one desk for all its pages, kept in the job at every step.

A line is in ``job.toml`` from its second place on; only a first place, what is chosen and which
tool is in hand live here, shared by every tab for as long as the room is open. Laying and cutting
run in threads, one change after the other; the pages are told as soon as there is something to see.
"""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING, Any, Literal, TypeAlias
from weakref import WeakKeyDictionary

from nicegui.element import Element

from fitkit.errors import FitkitError
from fitkit.job.job_folder import open_job
from fitkit.workflow.draw_line import (
    DrawnKind,
    drawn_row,
    free_name,
    leaning_lines,
    mirrored_row,
    next_leg,
    twin_name,
)
from fitkit.workflow.edit_job import (
    add_rows,
    change_line,
    change_row,
    extend_line,
    remove_row,
    rename_row,
    row_of,
)
from fitkit.workflow.pick_place import Picked, Ray, pick, place_of
from fitkit.workflow.step_edit import step_edit

if TYPE_CHECKING:
    from fitkit.geometry.surface_path import SurfacePath
    from fitkit.room.session import RoomSession
    from fitkit.workflow.design_view import LinesView, PatchesView, Region
    from fitkit.workflow.edit_job import Section
    from fitkit.workflow.form_ghost import FormGhost

__all__ = ["Chosen", "DesignDesk", "Tool", "desk_of"]

Tool: TypeAlias = Literal["choose", "line", "patch"]


@dataclass(frozen=True, slots=True)
class Chosen:
    """The line or patch that is looked at."""

    section: Section
    name: str


class DesignDesk:
    """The lines and patches of the open job, and what is being done to them.

    Attributes
    ----------
    lines, patches
        As they lie on the body; None before they are worked out.
    trial
        The lines as they would be, while something is dragged or slid.
    ahead
        How the line being drawn would run on to the pointer.
    tool, kind, both_sides
        What a click does; how a drawn line runs, and whether it gets a twin on the other side.
    first
        The place that a line begins at, while it has no second.
    drawing
        The line that further clicks extend.
    region
        What a new patch is to be made of, once it has a name.
    chosen
        The line or patch that is looked at.
    pointed, pointed_line
        The patch that is pointed at, on the body or on its template, and the line that a click
        would mean.
    ghost
        The form, when it is to be seen.
    fault
        Why nothing can be drawn on.
    """

    def __init__(self, session: RoomSession) -> None:
        self._session = session
        self._folder = session.folder
        self._turn = asyncio.Lock()
        self._cutting = asyncio.Lock()
        self._hovers = 0
        self._trials = 0
        self._strokes = 0
        self._trying = False
        self._wanted: tuple[str, Mapping[str, Any]] | None = None
        self._heard: list[tuple[Callable[[], None], Element]] = []
        self._tasks: set[asyncio.Task[None]] = set()
        self._clear()

    def _clear(self) -> None:
        self.lines: LinesView | None = None
        self.patches: PatchesView | None = None
        self.trial: LinesView | None = None
        self.ahead: Sequence[SurfacePath] = ()
        self.tool: Tool = "choose"
        self.kind: DrawnKind = "geodesic"
        self.both_sides = False
        self.first: Mapping[str, Any] | None = None
        self.drawing: str | None = None
        self.region: Region | None = None
        self.chosen: Chosen | None = None
        self.pointed: str | None = None
        self.pointed_line: str | None = None
        self.ghost: FormGhost | None = None
        self.ghost_wanted = False
        self.fault: FitkitError | None = None
        self.doing = ""

    # -- who follows ---------------------------------------------------------------------

    def follow(self, heard: Callable[[], None], *, within: Element) -> None:
        """Call ``heard`` whenever there is something else to see, until ``within`` is gone."""
        self._heard.append((heard, within))

    def told(self) -> None:
        """Tell every page that there is something else to see."""
        self._heard = [row for row in self._heard if not row[1].is_deleted]
        for heard, _ in self._heard:
            heard()

    @property
    def chosen_patch(self) -> str | None:
        """The patch that is looked at, None where it is a line or nothing."""
        if self.chosen is None or self.chosen.section != "patch":
            return None
        return self.chosen.name

    # -- bringing up to date -------------------------------------------------------------

    async def refresh(self) -> None:
        """Bring lines and patches up to what the job says."""
        async with self._turn:
            await self._read_lines()
        await self._cut()

    async def _read_lines(self) -> None:
        from fitkit.workflow.design_view import view_lines

        folder = self._session.folder
        if folder is None:
            return
        if folder != self._folder:
            self._folder = folder
            self._clear()
        try:
            job = await asyncio.to_thread(open_job, folder)
            if self.lines is None:
                self.doing = "laying the lines"
                self.told()
            lines = await asyncio.to_thread(view_lines, job, before=self.lines)
            if lines is not self.lines:
                self._end_trial()
            self.lines = lines
            self.fault = None
            self._drop_what_is_gone()
        except FitkitError as error:
            self.fault = error
        finally:
            self.doing = ""
            self.told()

    async def _cut(self) -> None:
        """Have the patches follow the lines; drawing goes on meanwhile."""
        from fitkit.workflow.design_view import view_patches

        async with self._cutting:
            try:
                while (lines := self.lines) is not None and (
                    self.patches is None or self.patches.lines is not lines
                ):
                    self.patches = await asyncio.to_thread(view_patches, lines, before=self.patches)
                    self.told()
                await self._bring_ghost()
            except FitkitError as error:
                self.fault = error
            self.told()

    def _drop_what_is_gone(self) -> None:
        assert self.lines is not None
        settings = self.lines.job.settings
        there = {
            "line": {design.name for design in self.lines.told},
            "patch": {patch.name for patch in settings.patch},
        }
        if self.chosen is not None and self.chosen.name not in there[self.chosen.section]:
            self.chosen = None
        if self.drawing is not None and self.drawing not in there["line"]:
            self.drawing = None
        if self.pointed not in there["patch"]:
            self.pointed = None

    # -- tools ---------------------------------------------------------------------------

    def take(self, tool: Tool) -> None:
        """Take a tool in hand; what was begun with another is let go."""
        self.tool = tool
        self.stop_drawing()

    def stop_drawing(self) -> None:
        """Begin no longer where the last line ended, also where a place is still being drawn to."""
        self._strokes += 1
        self.first, self.drawing, self.ahead, self.region = None, None, (), None
        self._end_trial()
        self.told()

    def choose(self, section: Section, name: str) -> None:
        """Look at a line or a patch."""
        self.chosen = Chosen(section, name)
        self.told()
        if self.ghost_wanted:
            self._refresh_soon()

    def point_at(self, patch: str | None, *, line: str | None = None) -> None:
        """Light up a patch, on the body and on paper, or a line."""
        if (patch, line) != (self.pointed, self.pointed_line):
            self.pointed, self.pointed_line = patch, line
            self.told()

    # -- the pointer ---------------------------------------------------------------------

    async def hover(self, ray: Ray | None) -> Picked | None:
        """Say what is under the pointer, and show how the line being drawn would run there."""
        self._hovers += 1
        mine = self._hovers
        if ray is None or self.lines is None:
            self._run_ahead(())
            self.point_at(None)
            return None
        picked = await asyncio.to_thread(self._picked, ray)
        ahead: Sequence[SurfacePath] = ()
        places = self._places_so_far() if self.tool == "line" else []
        if picked is not None and places:
            with contextlib.suppress(FitkitError):  # no way leads there
                to = place_of(self.lines, picked)
                ahead = await asyncio.to_thread(
                    next_leg, self.lines, self.kind, places, to, other_side=self.both_sides
                )
        if mine != self._hovers or (places and places != self._places_so_far()):
            return picked  # the pointer has been elsewhere since
        self._run_ahead(ahead)
        line = None if picked is None or self.tool == "patch" else picked.line
        patch = None if picked is None or line or self.tool == "line" else picked.patch
        self.point_at(patch, line=line)
        return picked

    def _run_ahead(self, ahead: Sequence[SurfacePath]) -> None:
        if ahead or self.ahead:
            self.ahead = ahead
            self.told()

    async def click(self, ray: Ray) -> None:
        """Do what the tool in hand does at a place.

        Raises
        ------
        FitkitError
            When it cannot be done; nothing has changed then.
        """
        if self.lines is None:
            return
        stroke = self._strokes
        async with self._turn:
            picked = await asyncio.to_thread(self._picked, ray)
            if picked is None or stroke != self._strokes:
                return
            if self.tool == "line":
                await self._draw_to(place_of(self.lines, picked))
            elif self.tool == "patch":
                await self._find_region(picked)
            elif picked.line is not None:
                self.choose("line", picked.line)
            elif picked.patch is not None:
                self.choose("patch", picked.patch)

    async def _find_region(self, picked: Picked) -> None:
        from fitkit.workflow.design_view import region_at

        self.region = None
        await self._cut()  # a line drawn a moment ago bounds what is clicked now
        if self.patches is None:
            return
        try:
            self.region = await asyncio.to_thread(region_at, self.patches, picked.point)
        finally:
            self.told()

    async def place(self, place: Mapping[str, Any]) -> None:
        """Draw on to a place that was typed.

        Raises
        ------
        FitkitError
            When it cannot be done; nothing has changed then.
        """
        async with self._turn:
            await self._draw_to(place)

    def _picked(self, ray: Ray) -> Picked | None:
        assert self.lines is not None
        own = leaning_lines(self.lines, self.drawing) if self.drawing else frozenset()
        return pick(self.lines, ray, patches=self.patches, without=own)

    # -- drawing -------------------------------------------------------------------------

    def _places_so_far(self) -> list[Mapping[str, Any]]:
        if self.first is not None:
            return [self.first]
        row = self.row("line", self.drawing) if self.drawing else None
        return list(row.get("points", [])) if row else []

    async def _draw_to(self, place: Mapping[str, Any]) -> None:
        assert self.lines is not None
        stroke = self._strokes
        places = self._places_so_far()
        if not places:
            self.first = dict(place)
            self.told()
            return
        taken = [design.name for design in self.lines.told]
        if self.drawing is None:
            name = free_name("line", taken)
            told = partial(drawn_row, self.lines, name, self.kind, [*places, place])
            rows = [await asyncio.to_thread(told)]
            if self.both_sides:
                rows.append(mirrored_row(free_name(twin_name(name), taken), name))
            keep = partial(add_rows, self._session.job(), "line", rows)
        else:
            name = self.drawing
            rows = [{**(self.row("line", name) or {}), "points": [*places, dict(place)]}]
            keep = partial(extend_line, self._session.job(), name, place)
        await self._lay_and_keep(rows, keep)
        if stroke == self._strokes:  # not let go of while it was being kept
            self.first, self.ahead = None, ()
            self.drawing = None if self.kind == "round" else name
        self.chosen = Chosen("line", name)
        self.told()

    async def close_line(self) -> None:
        """Join the end of the line being drawn to its start.

        Raises
        ------
        FitkitError
            When it cannot be done; nothing has changed then.
        """
        if self.drawing is not None:
            await self.tell_line(self.drawing, {"closed": True})
            self.stop_drawing()

    async def add_line(self, row: Mapping[str, Any], *, both_sides: bool = False) -> None:
        """Add a line told in full.

        Raises
        ------
        FitkitError
            When it cannot be laid; nothing has changed then.
        """
        assert self.lines is not None
        taken = [design.name for design in self.lines.told]
        rows: list[Mapping[str, Any]] = [row]
        if both_sides:
            rows.append(mirrored_row(free_name(twin_name(row["name"]), taken), row["name"]))
        async with self._turn:
            await self._lay_and_keep(rows, partial(add_rows, self._session.job(), "line", rows))
        self.choose("line", row["name"])

    async def tell_line(
        self,
        name: str,
        values: Mapping[str, Any],
        *,
        moved: Mapping[int, Mapping[str, Any]] | None = None,
    ) -> None:
        """Tell some values of a line anew, or move places of it, counted from 1.

        Raises
        ------
        FitkitError
            When it cannot be laid so; nothing has changed then.
        """
        async with self._turn:
            self._end_trial()
            row = {**(self.row("line", name) or {}), **values}
            if moved:
                row["points"] = _with_moved(row.get("points", []), moved)
            keep = partial(change_line, self._session.job(), name, values, moved=moved)
            await self._lay_and_keep([row], keep)

    async def try_line(self, name: str, values: Mapping[str, Any]) -> None:
        """Show a line as it would run, and all that lean on it, without keeping it.

        While one is being laid, only the last of those that come meanwhile is laid next.
        """
        from fitkit.workflow.design_view import redrawn_lines

        self._wanted = (name, values)
        if self._trying:
            return
        self._trying = True
        try:
            while self._wanted is not None:
                (name, values), self._wanted = self._wanted, None
                row, lines, trials = self.row("line", name), self.lines, self._trials
                if row is None or lines is None:
                    return
                with contextlib.suppress(FitkitError):  # it stays where it could still be laid
                    rows = [{**row, **values}]
                    tried = await asyncio.to_thread(redrawn_lines, lines, rows)
                    if trials == self._trials:
                        self.trial = tried
                        self.told()
        finally:
            self._trying = False

    def _end_trial(self) -> None:
        """Show no trial any more, nor one that is still being laid."""
        self._trials += 1
        self._wanted = None
        self.trial = None

    async def drag_point(self, number: int, ray: Ray, *, keep: bool) -> None:
        """Move a place of the chosen line, counted from 1, under the pointer.

        Raises
        ------
        FitkitError
            When it is to be kept and cannot be laid; nothing has changed then.
        """
        name = self.chosen.name if self.chosen is not None else ""
        row = self.row("line", name)
        if self.lines is None or row is None:
            return
        own = leaning_lines(self.lines, name)
        picked = await asyncio.to_thread(pick, self.lines, ray, without=own)
        if picked is None:
            self.let_go()
            return
        place = place_of(self.lines, picked)
        if row.get("kind") == "round":
            values: dict[str, Any] = {"centre": place}
            await (self.tell_line if keep else self.try_line)(name, values)
        elif keep:
            await self.tell_line(name, {}, moved={number: place})
        else:
            points = _with_moved(row.get("points", []), {number: place})
            await self.try_line(name, {"points": points})

    def let_go(self) -> None:
        """Show the lines as they are again."""
        self._end_trial()
        self.told()

    async def _lay_and_keep(
        self, rows: Sequence[Mapping[str, Any]], keep: Callable[[], object]
    ) -> None:
        """Lay lines anew, show them at once, and then write them into the job."""
        from fitkit.workflow.design_view import redrawn_lines

        assert self.lines is not None
        before = self.lines
        self.lines = await asyncio.to_thread(redrawn_lines, before, rows)
        self.told()
        try:
            await asyncio.to_thread(keep)
        except FitkitError:
            self.lines = before
            self.told()
            raise
        # The next click builds on what stands in the job now; the patches may follow behind.
        job = await asyncio.to_thread(open_job, self._session.job())
        self.lines = replace(self.lines, job=job)
        self._session.changed()
        self._refresh_soon()

    def _refresh_soon(self) -> None:
        task = asyncio.create_task(self.refresh())
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)

    # -- rows ----------------------------------------------------------------------------

    def row(self, section: Section, name: str | None) -> dict[str, Any] | None:
        """Return a row as the job has it, None where there is none."""
        if self.lines is None or name is None:
            return None
        return row_of(self.lines.job, section, name)

    async def edit(
        self, change: Callable[[], object], *, then_choose: Chosen | None = None
    ) -> None:
        """Change the job by a function of the workflow, and show what it is now.

        Raises
        ------
        FitkitError
            When it cannot be done; nothing has changed then.
        """
        async with self._turn:
            await asyncio.to_thread(change)
            self._session.changed()
            self.region = None
            if then_choose is not None:
                self.chosen = then_choose
            await self._read_lines()
        await self._cut()

    async def add_patch(self, name: str) -> None:
        """Name the patch round the place that was clicked.

        Raises
        ------
        FitkitError
            When the name is taken.
        """
        if self.region is None:
            return
        row = {"name": " ".join(name.split()), **self.region.row}
        add = partial(add_rows, self._session.job(), "patch", [row])
        await self.edit(add, then_choose=Chosen("patch", row["name"]))

    async def tell_patch(self, name: str, values: Mapping[str, Any]) -> None:
        """Set values of a patch; None takes one out.

        Raises
        ------
        FitkitError
            When the job would not hold together with it; nothing has changed then.
        """
        was = self.row("patch", name) or {}
        told = {key: value for key, value in values.items() if value is not None}
        gone = [key for key, value in values.items() if value is None and key in was]
        if told or gone:
            await self.edit(
                partial(change_row, self._session.job(), "patch", name, told, without=gone)
            )

    async def rename(self, section: Section, name: str, new: str) -> None:
        """Give a line or patch another name.

        Raises
        ------
        FitkitError
            When the name is taken.
        """
        new = " ".join(new.split())
        if new == name:
            return
        if self.drawing == name:
            self.stop_drawing()
        named = partial(rename_row, self._session.job(), section, name, new)
        await self.edit(named, then_choose=Chosen(section, new))

    async def remove(self) -> None:
        """Take what is chosen out of the job.

        Raises
        ------
        FitkitError
            When something else needs it; nothing has changed then.
        """
        if self.chosen is not None:
            section, name = self.chosen.section, self.chosen.name
            await self.edit(partial(remove_row, self._session.job(), section, name))

    async def step(self, *, back: bool) -> None:
        """Take the last change back, or make it again.

        Raises
        ------
        FitkitError
            When there is none.
        """
        if back and self.first is not None:
            self.stop_drawing()
            return
        self._end_trial()
        self.ahead = ()
        await self.edit(partial(step_edit, self._session.job(), back=back))

    # -- the form ------------------------------------------------------------------------

    async def show_ghost(self, wanted: bool) -> None:
        """Show the form of the chosen patch over the body, or no longer.

        Raises
        ------
        FitkitError
            When it cannot be grown.
        """
        self.ghost_wanted = wanted
        await self._cut()

    async def _bring_ghost(self) -> None:
        from fitkit.workflow.form_ghost import form_ghost, same_form

        if not self.ghost_wanted or self.lines is None:
            self.ghost = None
            return
        patch = self.chosen_patch
        if self.ghost is not None and same_form(self.ghost, self.lines.job, patch):
            return
        self.doing = "growing the form"
        self.told()
        try:
            self.ghost = await asyncio.to_thread(form_ghost, self.lines.job, patch)
        finally:
            self.doing = ""


_desks: WeakKeyDictionary[RoomSession, DesignDesk] = WeakKeyDictionary()


def desk_of(session: RoomSession) -> DesignDesk:
    """Return the desk of a room, the same for all its pages."""
    if session not in _desks:
        _desks[session] = DesignDesk(session)
    return _desks[session]


def _with_moved(
    points: Sequence[Mapping[str, Any]], moved: Mapping[int, Mapping[str, Any]]
) -> list[Mapping[str, Any]]:
    return [moved.get(number, point) for number, point in enumerate(points, 1)]
