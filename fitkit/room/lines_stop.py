"""The stop *lines*: tape lines drawn on the body, and the patches they bound."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, Mapping
from pathlib import Path
from typing import Any

from fastapi import FastAPI
from nicegui import context, ui

from fitkit.errors import FitkitError
from fitkit.room.design_desk import DesignDesk, desk_of
from fitkit.room.design_lists import line_list, patch_list
from fitkit.room.design_shown import show_design
from fitkit.room.design_state import Tool
from fitkit.room.emblem_routes import add_emblem_routes
from fitkit.room.fitting_panel import fitting_panel
from fitkit.room.form_fields import tick
from fitkit.room.line_panel import line_panel
from fitkit.room.page import RoomPage
from fitkit.room.page_parts import box, button, words
from fitkit.room.patch_panel import new_patch_panel, patch_panel
from fitkit.room.session import RoomSession
from fitkit.room.step_buttons import step_buttons
from fitkit.room.template_strip import template_strip
from fitkit.room.viewer import Viewer, add_viewer
from fitkit.workflow.draw_line import DrawnKind
from fitkit.workflow.edit_job import anchor_values
from fitkit.workflow.pick_place import Ray

__all__ = ["add_routes", "build"]

_TOOLS: tuple[tuple[Tool, str], ...] = (
    ("choose", "Choose"),
    ("line", "Draw a line"),
    ("patch", "Name a patch"),
)
_KINDS: tuple[tuple[DrawnKind, str], ...] = (
    ("geodesic", "Shortest way"),
    ("through", "Smooth"),
    ("round", "Circle"),
)
_REPORT = "The job is as it was before; report what the window says that fitkit room runs in."
_MISSED = "That was beside the body."
_LOOKS = ("front", "back", "left", "right")


def add_routes(app: FastAPI, session: RoomSession) -> Mapping[str, int]:
    """Add the view of the body, for the other stops too, and the address that emblems come to."""
    ui.add_css(Path(__file__).with_name("lines_stop.css"), shared=True)
    add_viewer(app)
    return add_emblem_routes(app, session)


def build(page: RoomPage) -> None:
    """Fill the page."""
    desk = desk_of(page.session)
    do = _doing(page)

    def strip() -> None:
        template_strip(page.session, desk)

    with box("fk-desk"):
        with box("fk-desk-view"):
            page.live(lambda: _tools(desk, do), of=lambda: _what_is_in_hand(desk))
            page.live(lambda: _says(desk, do), of=lambda: _what_is_said(desk))
            viewer = Viewer("The body, with its lines and patches")
            _looks(viewer)
        with box("fk-desk-side"):
            _steps(page, desk, do)
            with box("fk-desk-scroll") as beside:
                page.live(lambda: _chosen(page, desk, do), of=lambda: _what_is_chosen(desk))
                page.live(lambda: patch_list(desk), of=lambda: (desk.now.patches, desk.now.chosen))
                page.live(lambda: line_list(desk, do), of=lambda: (desk.now.lines, desk.now.chosen))
                page.live(strip, of=lambda: (page.session.revision, desk.now.lines))
    _join(viewer, desk, do)
    desk.followers.add(page.look_soon, within=viewer)
    # Whoever chose it in a list farther down sees it.
    to_top = f"getHtmlElement({beside.id})?.scrollTo({{top: 0}})"
    page.follow(lambda: ui.run_javascript(to_top), of=lambda: (desk.now.chosen, desk.now.region))
    page.follow(lambda: do(desk.refresh), of=lambda: page.session.revision)
    do(desk.refresh)


def _doing(page: RoomPage) -> Callable[..., None]:
    """Return what runs an act of the desk and says why when it cannot be done."""
    client = context.client
    running: set[asyncio.Task[None]] = set()

    def do(act: Callable[..., Awaitable[Any]], *arguments: Any, **named: Any) -> None:
        doing = act(
            *arguments, **named
        )  # what it is about is taken in now, not once it is its turn

        async def tried() -> None:
            try:
                await doing
            except FitkitError as error:
                with client:
                    page.tell(error)
            except Exception as error:
                with client:
                    page.tell(FitkitError(f"fitkit itself failed ({error!r}).", _REPORT))
                raise

        task = asyncio.create_task(tried())
        running.add(task)
        task.add_done_callback(running.discard)

    return do


# -- the view ---------------------------------------------------------------------------------


def _join(viewer: Viewer, desk: DesignDesk, do: Callable[..., None]) -> None:
    """Let a view show the desk, and the desk hear what is done in the view."""

    def show() -> None:
        show_design(viewer, desk.now)

    desk.followers.add(show, within=viewer)

    async def hovered(ray: Ray | None) -> None:
        picked = await desk.pointing.hover(ray)
        if picked is None:
            viewer.answer(None)
        else:
            on_body = picked.line is None and picked.landmark is None
            viewer.answer(picked.meant_mm, "body" if on_body else "line")

    def picked(ray: Ray) -> None:
        do(desk.drawing.click, ray)

    async def dragged(place: str, phase: str, ray: Ray) -> None:
        number = place.removeprefix("place ")
        if not number.isdigit():
            return
        if phase == "cancel":
            desk.trying.end()
            desk.show(held=None)
        elif phase == "end":
            do(desk.pointing.drag, int(number), ray, keep=True)
        else:
            await desk.pointing.drag(int(number), ray, keep=False)
        viewer.answer(None)

    def pressed(key: str) -> None:
        if key in ("undo", "redo"):
            do(desk.editing.step, back=key == "undo")
        elif key == "remove":
            do(desk.editing.remove)
        elif key == "stop":
            desk.drawing.lift()

    viewer.on_pick(picked)
    viewer.on_hover(hovered)
    viewer.on_drag(dragged)
    viewer.on_key(pressed)
    show()


def _looks(viewer: Viewer) -> None:
    with box("fk-looks").props('role=group aria-label="Look from"'):
        for side in _LOOKS:
            button(side.title(), lambda side=side: viewer.look(side), small=True)


def _what_is_in_hand(desk: DesignDesk) -> tuple[object, ...]:
    return desk.now.tool, desk.now.kind, desk.now.both_sides


def _tools(desk: DesignDesk, do: Callable[..., None]) -> None:
    now = desk.now
    with box("fk-row").props('role=group aria-label="What a click does"'):
        for tool, title in _TOOLS:
            made = button(title, lambda tool=tool: desk.drawing.take(tool), first=now.tool == tool)
            made.props(f"aria-pressed={str(now.tool == tool).lower()}")
    if now.tool != "line":
        return
    with box("fk-row"):
        for kind, title in _KINDS:
            made = button(title, lambda kind=kind: desk.drawing.run(kind), small=True)
            made.classes("fk-chosen" if now.kind == kind else "")
            made.props(f"aria-pressed={str(now.kind == kind).lower()}")

        async def both(wanted: bool) -> None:
            desk.show(both_sides=bool(wanted))

        tick("On both sides", now.both_sides, both)
        _typed_place(desk, do)


def _typed_place(desk: DesignDesk, do: Callable[..., None]) -> None:
    """Offer a place by numbers, for whom the pointer does not do."""
    typed = ui.element("input").classes("fk-input fk-place")
    typed._props |= {
        "aria-label": "Place by numbers: height@bearing, limb:along@bearing, or a landmark",
        "placeholder": "1200@30",
        "autocomplete": "off",
    }

    async def drawn(text: str) -> None:
        await desk.drawing.place(anchor_values(text))

    typed.on(
        "keydown.enter",
        lambda event: do(drawn, str(event.args)),
        js_handler="(event) => { emit(event.target.value); event.target.value = ''; }",
    )


def _what_is_said(desk: DesignDesk) -> tuple[object, ...]:
    now = desk.now
    stroke = now.stroke
    return now.tool, now.kind, stroke.first is None, stroke.line, now.doing, now.fault, now.missed


def _says(desk: DesignDesk, do: Callable[..., None]) -> None:
    """Say what to do next."""
    now = desk.now
    missed = _MISSED if now.missed else ""  # in place of the rest: two lines would move the view
    with box("fk-says").props("role=status"):
        if now.fault is not None:
            words(f"{now.fault.cause} {now.fault.remedy}", "span")
        elif now.doing:
            words(f"One moment: {now.doing}.", "span")
        elif now.tool == "line" and now.stroke.line is not None:
            words(missed or "Click on for the next place.", "span")
            button("Close it", lambda: do(desk.drawing.close), small=True)
            button("Done", desk.drawing.lift, small=True, first=True)
        elif now.tool == "line" and now.stroke.first is not None:
            on_rim = "Click a place on the circle." if now.kind == "round" else None
            words(missed or on_rim or "Click where it goes next.", "span")
            button("Leave it", desk.drawing.lift, small=True)
        elif now.tool == "line":
            middle = "Click the middle of the circle." if now.kind == "round" else None
            begins = "Click where the line begins; on a line it stays on it."
            words(missed or middle or begins, "span")
        elif now.tool == "patch":
            words(missed or "Click inside the lines that go round it.", "span")
        else:
            words(missed or "Click a line or a patch; drag a yellow place to move it.", "span")


# -- beside it ---------------------------------------------------------------------------------


def _steps(page: RoomPage, desk: DesignDesk, do: Callable[..., None]) -> None:
    """Offer a step back and one forward, and the form over the body."""

    async def step(back: bool) -> None:
        do(desk.editing.step, back=back)

    async def ghost(wanted: bool) -> None:
        do(desk.show_ghost, bool(wanted))

    def first() -> str | None:
        return None if desk.now.stroke.first is None else "the place just set"

    with box("fk-row"):
        step_buttons(page, step, first=first)
        over = tick("Form over the body", desk.now.ghost_wanted, ghost)
        page.follow(
            lambda: over.show(desk.now.ghost_wanted),
            of=lambda: desk.now.ghost_wanted,
            within=over,
        )


def _what_is_chosen(desk: DesignDesk) -> tuple[object, ...]:
    now = desk.now
    return now.chosen, now.region, now.lines, now.patches, now.stroke.line


def _chosen(page: RoomPage, desk: DesignDesk, do: Callable[..., None]) -> None:
    now = desk.now
    if now.lines is None:
        return
    if now.region is not None:
        new_patch_panel(desk, do)
    elif now.chosen_line is not None:
        line_panel(page, desk, do, now.chosen_line)
    elif now.chosen_patch is not None:
        patch_panel(page, desk, do, now.chosen_patch)
    elif now.chosen_fitting is not None and now.chosen is not None:
        kind, _ = now.chosen_fitting
        fitting_panel(page, desk, do, kind, now.chosen.name)
