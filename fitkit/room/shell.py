"""The frame round every stop: the job's name, the course with how each stop stands, the work."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from importlib import import_module

from fastapi import FastAPI, Request
from fastapi.responses import RedirectResponse
from nicegui import app as nicegui_app
from nicegui import ui

from fitkit.room.front_page import build_front
from fitkit.room.guard import BEGINNING
from fitkit.room.looks import KEPT_FOCUS, STYLE
from fitkit.room.made_routes import add_made_routes
from fitkit.room.page import RoomPage
from fitkit.room.page_parts import box, button, mark, show_findings, words
from fitkit.room.session import RoomSession
from fitkit.room.stops import STOPS, Stop, StopState, job_findings, next_stop, state_of_stop

__all__ = ["add_pages", "how_work_stands"]

_LOOKS = {"light": False, "dark": True}
_LOOKS_COOKIE = "fitkit-looks"
_MARK_OF_STATE = {
    "done": ("done", "fk-is-done", "done"),
    "to do": ("open", "fk-is-open", "to do"),
    "stale": ("stale", "fk-is-stale", "out of date"),
    "wrong": ("wrong", "fk-is-wrong", "look at this"),
    "going": ("going", "fk-is-going", "being made"),
    "offered": ("open", "fk-is-open", "if you like"),
    "not needed": ("none", "fk-is-open", "not needed"),
}


def add_pages(app: FastAPI, session: RoomSession) -> Mapping[str, int]:
    """Add every page and route of the room.

    Returns the most bytes that a request may send, by the beginning of its path.
    """
    ui.add_css(STYLE, shared=True)
    script = nicegui_app.add_static_file(local_file=KEPT_FOCUS, url_path="/kept-focus.js")
    ui.add_head_html(f'<script src="{script}"></script>', shared=True)
    add_made_routes(app, session)

    @app.get(BEGINNING)
    def begin() -> RedirectResponse:
        is_open = session.folder is not None
        return RedirectResponse(f"/{next_stop(session).name}" if is_open else "/", 303)

    @ui.page("/")
    def front(request: Request) -> None:
        page = RoomPage(session)
        with box("fk-head", "header"):
            words("Fitting room", classes="fk-job")
            _looks(request)
        with box("fk-stop"):
            build_front(page)

    limits: dict[str, int] = {}
    for stop in STOPS:
        _add_stop(session, stop)
        add_routes = getattr(import_module(stop.module), "add_routes", None)
        if add_routes is not None:
            limits |= add_routes(app, session) or {}
    return limits


def _add_stop(session: RoomSession, stop: Stop) -> None:
    build = import_module(stop.module).build

    @ui.page(f"/{stop.name}", title=f"{stop.title} - fitting room")
    def show(request: Request) -> None:
        if session.folder is None:
            ui.navigate.to("/")
            return
        page = RoomPage(session)
        skip = words("To the work", "a", "fk-skip")
        skip._props["href"] = "#work"
        with box("fk-head", "header"):
            page.live(lambda: _whose(session), of=lambda: (session.folder, session.revision))
            with box("fk-work-place"):
                page.live(lambda: _work(page), of=lambda: how_work_stands(session))
            _all_jobs()
            _looks(request)
        page.live(lambda: _course(session, stop), of=lambda: (session.revision, session.going))
        with box("fk-stop") as work:
            work._props["id"] = "work"
            page.live(lambda: _stop_head(page, stop))
            build(page)
        opened = session.folder
        page.follow(lambda: ui.navigate.to("/"), of=lambda: session.folder == opened)


# -- the head --------------------------------------------------------------------------------


def _whose(session: RoomSession) -> None:
    settings = session.settings()
    with box("fk-whose"):
        words(settings["job"]["name"] if settings else session.job().name, classes="fk-job")
        if settings and settings["wearer"]["name"]:
            words(f"for {settings['wearer']['name']}", classes="fk-wearer")


def _all_jobs() -> None:
    link = words("All jobs", "a", "fk-download")
    link._props["href"] = "/"


def _looks(request: Request) -> None:
    """Offer light, dark, or as the machine is set; this browser remembers it."""
    chosen = request.cookies.get(_LOOKS_COOKIE, "")
    dark = ui.dark_mode(_LOOKS.get(chosen))

    async def turn() -> None:
        # Asked of the browser: left to itself, it follows the machine.
        dark.set_value(not await ui.run_javascript("document.body.matches('.body--dark')"))
        told = "dark" if dark.value else "light"
        ui.run_javascript(
            f"document.cookie='{_LOOKS_COOKIE}={told}; path=/; max-age=31536000; SameSite=Strict'"
        )

    turned = button("Light or dark", turn, small=True)
    if request.url.path == "/":
        turned.classes("fk-push")


def _course(session: RoomSession, here: Stop) -> None:
    with box("fk-course", "nav").props('aria-label="Course of the work"'):
        for stop in STOPS:
            state = _state_word(session, stop, state_of_stop(stop, session))
            kind, colour, told = _MARK_OF_STATE[state]
            with box("fk-station", "a") as link:
                link._props["href"] = f"/{stop.name}"
                if stop is here:
                    link._props["aria-current"] = "page"
                mark(kind, colour)
                words(stop.title, classes="fk-station-title")
                words(told, classes="fk-station-state")


def _state_word(session: RoomSession, stop: Stop, state: StopState) -> str:
    return "going" if session.going in stop.steps and session.going else state.state


# -- the stop --------------------------------------------------------------------------------


def _stop_head(page: RoomPage, stop: Stop) -> None:
    session = page.session
    state = state_of_stop(stop, session)
    with box("fk-stop-head"):
        words(stop.title, "h1")
        if state.state == "stale":
            shown = ", ".join(state.reasons[:3])
            more = len(state.reasons) - 3
            words(f"Out of date: {shown}{f' and {more} more' if more > 0 else ''}", "p", "fk-why")
        if state.state in {"to do", "stale", "offered"} and not session.working:
            button(stop.act, lambda: page.start("make", stop.doing, until=stop.steps[-1]),
                   first=True)  # fmt: skip
    show_findings(job_findings(session))


def how_work_stands(session: RoomSession) -> Hashable:
    """Return what changes when there is something else to say of the long work.

    It can end before it has said which step it is at.
    """
    return session.work and (session.work, session.work.ending, session.going)


def _work(page: RoomPage) -> None:
    """Say how the long work stands, where it moves nothing that the hand is at."""
    work = page.session.work
    if work is None:
        return
    if work.running:
        with box("fk-work").props('role=status aria-label="Work going on"'):
            mark("going", "fk-is-going")
            with box("fk-work-words"):
                told = words("", classes="fk-number")
                bar = box("fk-bar").props(
                    'role=progressbar aria-valuemin=0 aria-valuemax=100 aria-label="How far"'
                )
                with bar:
                    filled = box()
            button("Stop", page.session.stop_work, small=True)

        def follow() -> None:
            share = round(100 * work.share)
            told.set_text(f"{work.doing}: {share} %{', ' * bool(work.words)}{work.words}")
            filled.style(f"width: {share}%")
            bar.props(f"aria-valuenow={share}")

        follow()
        page.follow(follow, of=lambda: (work.share, work.words), within=told)
    elif work.ending == "failed":
        with box("fk-work fk-work-failed").props("role=alert"):
            mark("wrong", "fk-is-wrong")
            with box("fk-work-words"):
                words(f"{work.doing} went wrong. {work.cause}")
                words(work.remedy, classes="fk-soft")
            button("Close", page.session.forget_work, small=True)
    elif work.ending == "stopped":
        with box("fk-work").props("role=status"):
            mark("none")
            words(f"{work.doing} was stopped. What was there before still is.",
                  classes="fk-work-words")  # fmt: skip
            button("Close", page.session.forget_work, small=True)
