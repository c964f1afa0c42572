"""Landmarks and joints on the body: seen, dragged, put by a tap or by numbers."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Hashable
from typing import TYPE_CHECKING

from nicegui import background_tasks, ui

from fitkit.errors import FitkitError
from fitkit.room.page import RoomPage
from fitkit.room.page_parts import box, button, field, words
from fitkit.room.step_buttons import step_buttons
from fitkit.room.viewer import Disc, Viewer
from fitkit.units import parse_length_mm
from fitkit.workflow.place_landmarks import (
    BodyPlaces,
    MarkKind,
    PlacedMark,
    mark_at,
    move_mark,
    place_mark,
    see_places,
    under_ray_mm,
)
from fitkit.workflow.step_edit import step_edit

if TYPE_CHECKING:
    from fitkit.geometry.arrays import Floats
    from fitkit.workflow.pick_place import Ray

__all__ = ["BodyMarks"]

_ANEW = "Making the body anew"
_KINDS: tuple[tuple[MarkKind | None, str], ...] = (
    (None, "The body"),
    ("landmark", "Landmarks"),
    ("joint", "Joints"),
)
# As found, put by hand, and chosen; told apart by their words beside the view as well.
_FOUND, _BY_HAND, _CHOSEN = "#ffffff", "#56b4e9", "#e69f00"
_UNSURE = 0.5
_WAYS = ("To the left, mm", "To the back, mm", "Up, mm")


class BodyMarks:
    """What one page shows of the named places of the body.

    Parameters
    ----------
    page
        The page.
    show_body
        Called when the body is to be shown solid, or seen through so that its joints show.
    """

    def __init__(self, page: RoomPage, show_body: Callable[[], None]) -> None:
        self._page = page
        self._show_body = show_body
        self._viewer: Viewer | None = None
        self._places: BodyPlaces | None = None
        self._read_of: Hashable = None
        self._fault: FitkitError | None = None
        self._dragged: tuple[str, Floats] | None = None
        self._pointed: str | None = None
        self.kind: MarkKind | None = None
        self.chosen: str | None = None
        self.putting: str | None = None

    @property
    def marks(self) -> tuple[PlacedMark, ...]:
        """The places that are shown."""
        if self.kind is None or self._places is None:
            return ()
        return self._places.of(self.kind)

    # -- on the page ---------------------------------------------------------------------

    def choices(self) -> None:
        """Put the choice of what is shown on the page."""
        with box("fk-row"):
            with box("fk-row").props('role=group aria-label="What is shown on the body"'):
                for kind, title in _KINDS:
                    made = button(title, lambda kind=kind: self._show_kind(kind), small=True,
                                  first=self.kind == kind)  # fmt: skip
                    made.props(f"aria-pressed={str(self.kind == kind).lower()}")
            step_buttons(self._page, self._step)

    def join(self, viewer: Viewer) -> None:
        """Let a view show the places, and hear what is done to them in it."""
        self._viewer = viewer
        viewer.on_pick(self._picked)
        viewer.on_hover(self._hovered)
        viewer.on_drag(self._drag)
        viewer.on_key(self._pressed)
        self._page.follow(
            self._refresh_soon,
            of=lambda: self._page.session.revision,
            within=viewer,
        )

    def panel(self) -> None:
        """Put the list of places on the page, and what is known of the chosen one."""
        if self.kind is None:
            return
        if self._fault is not None:
            words(f"{self._fault.cause} {self._fault.remedy}", "p", "fk-wrong-words")
        if not self.marks:
            words(f"The body shows no {self.kind}s yet.", "p", "fk-soft")
        with box("fk-says").props("role=status"):
            words(self._says(), "span")
            if self.putting is not None:
                button("Leave it", lambda: self._put_next(None), small=True)
        mark = self._mark(self.chosen)
        if mark is not None:
            self._one(mark)
        with box("fk-chips").props(f'role=group aria-label="{self.kind.capitalize()}s"'):
            for one in self.marks:
                self._chip(one)
        if self.kind == "landmark":
            with box("fk-row"), box("fk-grow"):
                field("A landmark of your own", "", self._put_next, hint="its name, then tap")

    def panel_key(self) -> Hashable:
        """Return what the panel depends on."""
        told = tuple(
            (one.name, tuple(one.at_mm.round(1).tolist()), one.by_hand, one.confidence, one.source)
            for one in self.marks
        )
        return self.kind, self.chosen, self.putting, told, self._fault

    def _says(self) -> str:
        if self.putting is not None:
            return f"Tap the body where the {self.putting} is."
        if self.kind == "joint":
            return "Drag a joint to move it square to your line of sight; turn the body to check."
        return "Drag a landmark to put it right, or tap one."

    def _chip(self, mark: PlacedMark) -> None:
        with ui.element("button").classes("fk-chip") as chip:
            chip.props(f"aria-pressed={str(mark.name == self.chosen).lower()}")
            chip.on("click", lambda: self._choose(mark.name))
            words(mark.name, "span")
            if mark.by_hand:
                words("by hand", "span", "fk-soft")
            elif mark.confidence < _UNSURE:
                words("unsure", "span", "fk-soft")

    def _one(self, mark: PlacedMark) -> None:
        with box("fk-row"):
            words(mark.name, "h3")
            sure = "put by hand" if mark.by_hand else f"found, {100 * mark.confidence:.0f} % sure"
            words(sure, "span", "fk-soft")
        if mark.source and not mark.by_hand:
            words(f"It lies {mark.source}.", "p", "fk-soft")
        with box("fk-row"):
            for axis, label in enumerate(_WAYS):
                self._number(mark, axis, label)
        with box("fk-row"):
            if self.kind == "landmark":
                button("Put it by a tap", lambda: self._put_next(mark.name), small=True)
            if mark.by_hand:
                button("As it is found", lambda: self._keep(mark.name, None), small=True)

    def _number(self, mark: PlacedMark, axis: int, label: str) -> None:
        async def keep(text: str) -> None:
            await self._typed(mark.name, axis, text)

        field(label, f"{mark.at_mm[axis]:.0f}", keep, classes="fk-short fk-right")

    # -- what is done --------------------------------------------------------------------

    async def _show_kind(self, kind: MarkKind | None) -> None:
        self.kind, self.chosen, self.putting = kind, None, None
        self._show_body()
        await self._refresh()

    def _choose(self, name: str | None) -> None:
        self.chosen, self.putting = name, None
        self._show_discs()
        self._page.look_soon()

    def _put_next(self, name: str | None) -> None:
        self.putting = (" ".join(name.split()) or None) if name else None
        self._page.look_soon()

    async def _typed(self, name: str, axis: int, text: str) -> None:
        kind, job = self.kind, self._page.session.job()
        if kind is None:
            return
        try:
            to_mm = parse_length_mm(text, what=_WAYS[axis])
        except FitkitError as error:
            self._page.tell(error)
            return
        await self._change(lambda: move_mark(job, kind, name, axis, to_mm))

    async def _picked(self, ray: Ray) -> None:
        if self.kind is None or self._places is None:
            return
        if self.putting is None:
            self._choose(await asyncio.to_thread(mark_at, self._places, self.kind, ray))
            return
        name = self.putting
        at = await asyncio.to_thread(under_ray_mm, self._places, self.kind, name, ray)
        if at is not None:
            self.putting, self.chosen = None, name
            await self._keep(name, at)

    async def _hovered(self, ray: Ray | None) -> None:
        found = None
        if ray is not None and self.kind is not None and self._places is not None:
            found = await asyncio.to_thread(mark_at, self._places, self.kind, ray)
        if found != self._pointed:
            self._pointed = found
            self._show_discs()
        if self._viewer is not None:
            mark = self._mark(found)
            self._viewer.answer(None if mark is None else mark.at_mm, "place")

    async def _drag(self, name: str, phase: str, ray: Ray) -> None:
        if self.kind is None or self._places is None:
            return
        at = await asyncio.to_thread(under_ray_mm, self._places, self.kind, name, ray)
        self._dragged = None if at is None or phase == "cancel" else (name, at)
        self.chosen = name
        self._show_discs()
        if self._viewer is not None:
            self._viewer.answer(None)
        if phase == "end" and at is not None:
            await self._keep(name, at)

    async def _pressed(self, key: str) -> None:
        if key in ("undo", "redo"):
            await self._step(key == "undo")
        elif key == "remove" and self.chosen is not None and self._by_hand(self.chosen):
            await self._keep(self.chosen, None)
        elif key == "stop":
            self._choose(None)

    def _by_hand(self, name: str) -> bool:
        mark = self._mark(name)
        return mark is not None and mark.by_hand

    async def _step(self, back: bool) -> None:
        job = self._page.session.job()
        await self._change(lambda: step_edit(job, back=back))

    async def _keep(self, name: str, at_mm: Floats | None) -> None:
        kind, job = self.kind, self._page.session.job()
        if kind is None:
            return
        await self._change(lambda: place_mark(job, kind, name, at_mm))

    async def _change(self, act: Callable[[], object]) -> None:
        """Change the job; then have the body, and the tape round it, follow."""
        await self._page.change(act, step="body", doing=_ANEW)
        self._dragged = None
        await self._refresh()

    # -- what is shown -------------------------------------------------------------------

    def _refresh_soon(self) -> None:
        background_tasks.create(self._refresh())

    async def _refresh(self) -> None:
        """Read the places anew where the job has changed, and show them."""
        session = self._page.session
        now = session.folder, session.revision
        if self.kind is not None and self._read_of != now:
            self._read_of = now
            fault, places = None, self._places
            try:
                places = await asyncio.to_thread(see_places, session.job())
            except FitkitError as error:
                fault = error
            if self._read_of != now:
                return  # what is read of the job as it is since comes, or came, by itself
            self._places, self._fault = places, fault
        self._show_discs()
        self._page.look_soon()

    def _show_discs(self) -> None:
        if self._viewer is None:
            return
        discs = []
        for mark in self.marks:
            at = mark.at_mm
            if self._dragged is not None and self._dragged[0] == mark.name:
                at = self._dragged[1]
            named = mark.name in (self.chosen, self._pointed)
            fill = _CHOSEN if mark.name == self.chosen else _BY_HAND if mark.by_hand else _FOUND
            x, y, z = at.round(2).tolist()
            discs.append(
                Disc(mark.name, (x, y, z), mark.name if named else "", fill,
                     sizePx=26 if named else 20, hold=True, over=named)
            )  # fmt: skip
        self._viewer.show_discs(discs)

    def _mark(self, name: str | None) -> PlacedMark | None:
        return next((mark for mark in self.marks if mark.name == name), None)
