"""What is being drawn in the room: one desk for all its pages, kept in the job at every step.

A line is in ``job.toml`` from its second place on; only a first place, what is chosen and which
tool is in hand live here, shared by every tab for as long as the room is open. Laying and cutting
run in threads, one change after the other in the order in which they were asked for; the pages
are told as soon as there is something to see.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any
from weakref import WeakKeyDictionary

from fitkit.errors import FitkitError
from fitkit.job.job_folder import open_job
from fitkit.room.design_state import Chosen, DesignState
from fitkit.room.desk_drawing import Drawing
from fitkit.room.desk_editing import Editing
from fitkit.room.desk_pointing import Pointing
from fitkit.room.desk_trying import Trying
from fitkit.room.followers import Followers

if TYPE_CHECKING:
    from fitkit.room.session import RoomSession
    from fitkit.workflow.design_view import LinesView
    from fitkit.workflow.edit_job import Section

__all__ = ["DesignDesk", "desk_of"]


class DesignDesk:
    """The lines and patches of the open job, and what is being done to them.

    Attributes
    ----------
    now
        What is to be seen.
    followers
        Told whenever that is something else.
    turn
        Held by whoever changes lines or patches.
    drawing, pointing, trying, editing
        What can be done.
    """

    def __init__(self, session: RoomSession) -> None:
        self.session = session
        self.now = DesignState()
        self.followers = Followers()
        self.turn = asyncio.Lock()
        self.drawing = Drawing(self)
        self.pointing = Pointing(self)
        self.trying = Trying(self)
        self.editing = Editing(self)
        self._folder = session.folder
        self._cutting = asyncio.Lock()
        self._tasks: set[asyncio.Task[None]] = set()

    def show(self, **changes: Any) -> None:
        """Tell every page that there is something else to see."""
        self.now = replace(self.now, **changes)
        self.followers.tell()

    def choose(self, section: Section, name: str) -> None:
        """Look at a line or a patch."""
        self.show(chosen=Chosen(section, name))
        if self.now.ghost_wanted:
            self.refresh_soon()

    # -- bringing up to date -------------------------------------------------------------

    async def refresh(self) -> None:
        """Bring lines and patches up to what the job says."""
        async with self.turn:
            await self.read_lines()
        await self.cut()

    def refresh_soon(self) -> None:
        """Begin to bring lines and patches up to what the job says."""
        task = asyncio.create_task(self.refresh())
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)

    async def read_lines(self) -> None:
        """Bring the lines up to what the job says; hold the turn."""
        from fitkit.workflow.design_view import view_lines

        folder = self.session.folder
        if folder is None:
            return
        if folder != self._folder:
            self._folder = folder
            self.trying.end()
            self.now = DesignState()
            self.followers.tell()
        try:
            job = await asyncio.to_thread(open_job, folder)
            before = self.now.lines
            if before is None:
                self.show(doing="laying the lines")
            lines = await asyncio.to_thread(view_lines, job, before=before)
            if lines is not before:
                self.trying.end()
            self.now = replace(self.now, lines=lines, fault=None)
            self.now = replace(self.now, **self.now.without_what_is_gone())
        except FitkitError as error:
            self.now = replace(self.now, fault=error)
        finally:
            self.show(doing="")

    async def cut(self) -> None:
        """Have the patches follow the lines; drawing goes on meanwhile."""
        from fitkit.workflow.design_view import view_patches

        async with self._cutting:
            try:
                while (lines := self.now.lines) is not None and (
                    self.now.patches is None or self.now.patches.lines is not lines
                ):
                    before = self.now.patches
                    self.show(patches=await asyncio.to_thread(view_patches, lines, before=before))
                await self._bring_ghost()
            except FitkitError as error:
                self.show(fault=error)

    async def lay_and_keep(
        self, rows: Sequence[Mapping[str, Any]], keep: Callable[[], object]
    ) -> None:
        """Lay lines anew, show them at once, and then write them into the job; hold the turn.

        Raises
        ------
        FitkitError
            When they cannot be laid or kept; nothing has changed then.
        """
        from fitkit.workflow.design_view import redrawn_lines

        before = self.now.lines
        assert before is not None
        laid = await asyncio.to_thread(redrawn_lines, before, rows)
        self.show(lines=laid)
        try:
            await asyncio.to_thread(keep)
        except Exception:
            self.show(lines=before)
            raise
        # The next click builds on what stands in the job now, whoever else wrote there meanwhile;
        # the patches may follow behind.
        try:
            self.show(lines=await asyncio.to_thread(self._as_kept, laid))
        except FitkitError:
            self.show(lines=before)
        self.session.changed()
        self.refresh_soon()

    def _as_kept(self, laid: LinesView) -> LinesView:
        """Return the lines as the job has them, those taken over that were laid for it."""
        from fitkit.workflow.design_view import view_lines

        job = open_job(self.session.job())
        return view_lines(job, before=replace(laid, job=replace(laid.job, text="")))

    # -- the form ------------------------------------------------------------------------

    async def show_ghost(self, wanted: bool) -> None:
        """Show the form of the chosen patch over the body, or no longer.

        Raises
        ------
        FitkitError
            When it cannot be grown.
        """
        self.show(ghost_wanted=wanted)
        await self.cut()

    async def _bring_ghost(self) -> None:
        from fitkit.workflow.form_ghost import form_ghost, same_form

        now = self.now
        if not now.ghost_wanted or now.lines is None:
            self.show(ghost=None)
            return
        if now.ghost is not None and same_form(now.ghost, now.lines.job, now.chosen_patch):
            return
        self.show(doing="growing the form")
        try:
            ghost = await asyncio.to_thread(form_ghost, now.lines.job, now.chosen_patch)
            self.show(ghost=ghost)
        finally:
            self.show(doing="")


_desks: WeakKeyDictionary[RoomSession, DesignDesk] = WeakKeyDictionary()


def desk_of(session: RoomSession) -> DesignDesk:
    """Return the desk of a room, the same for all its pages."""
    if session not in _desks:
        _desks[session] = DesignDesk(session)
    return _desks[session]
