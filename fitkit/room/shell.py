"""The frame round every stop: the job's name, the course with how each stop stands, the work."""

from __future__ import annotations

from collections.abc import Mapping
from importlib import import_module

from fastapi import FastAPI
from nicegui import ui

from fitkit.room.looks import STYLE
from fitkit.room.page import RoomPage
from fitkit.room.session import RoomSession
from fitkit.room.stops import STOPS, Stop, state_of_stop

__all__ = ["add_pages"]


def add_pages(app: FastAPI, session: RoomSession) -> Mapping[str, int]:
    """Add every page and route of the room.

    Returns the most bytes that a request may send, by the beginning of its path.
    """
    ui.add_css(STYLE, shared=True)

    @ui.page("/")
    def front() -> None:
        ui.navigate.to(f"/{STOPS[0].name}")

    for stop in STOPS:
        _add_stop(session, stop)
        add_routes = getattr(import_module(stop.module), "add_routes", None)
        if add_routes is not None:
            add_routes(app, session)
    return {}


def _add_stop(session: RoomSession, stop: Stop) -> None:
    build = import_module(stop.module).build

    @ui.page(f"/{stop.name}")
    def show() -> None:
        page = RoomPage(session)
        page.live(lambda: _course(session, stop))
        with ui.element("main").classes("fk-stop"):
            ui.label(stop.title).props("role=heading aria-level=1").classes("fk-title")
            build(page)


def _course(session: RoomSession, here: Stop) -> None:
    with ui.element("nav").props('aria-label="Course"').classes("fk-course"):
        for stop in STOPS:
            state = state_of_stop(stop, session)
            with ui.link(target=f"/{stop.name}").classes("fk-station") as link:
                if stop is here:
                    link.props("aria-current=page")
                ui.label(stop.title)
                ui.label(state.state)
