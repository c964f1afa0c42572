"""The stop *paper and shop*: the pages to print, the files for the cutter."""

from __future__ import annotations

from functools import partial
from typing import Any

from nicegui import ui

from fitkit.drawing.paper import PAPERS
from fitkit.errors import FitkitError
from fitkit.room.made_routes import made_address
from fitkit.room.page import RoomPage
from fitkit.room.page_parts import (
    box,
    button,
    download,
    field,
    picture,
    show_findings,
    table,
    words,
)
from fitkit.room.stops import state_of_stop, stop_named
from fitkit.units import parse_length_mm
from fitkit.workflow.edit_settings import change_setting, read_job_settings
from fitkit.workflow.see_pages import SeenPart, see_pages

__all__ = ["build"]


def build(page: RoomPage) -> None:
    """Fill the page."""
    with box("fk-two"):
        with box():
            page.live(lambda: _pages(page))
        with box():
            page.live(lambda: _printer(page))
            page.live(lambda: _book(page))
    page.live(lambda: _parts(page))


def _pages(page: RoomPage) -> None:
    session = page.session
    pages = made_address(session, "pages", "templates.pdf")
    with box("fk-card"):
        words("The pages", "h2")
        if pages is None:
            words("No pages are drawn yet.", "p", "fk-soft")
            return
        with box("fk-row"):
            saved = made_address(session, "pages", "templates.pdf", save=True)
            download("Save the pages as PDF", saved or pages, first=True)
            shown = words("Open to print", "a", "fk-download")
            shown._props |= {"href": pages, "target": "_blank", "rel": "noopener"}
        words("Print at 100 %, no fit to page. Then lay a steel rule on the check square.", "p")
        previews = sorted(name for name in session.made("pages") if name.startswith("page-"))
        with box("fk-previews"):
            for name in previews:
                address = made_address(session, "pages", name)
                if address is not None:
                    number = name.removeprefix("page-").removesuffix(".png").lstrip("0")
                    picture(address, f"Page {number}")
        words("The first page is the map: which page lies where.", "p", "fk-soft")
        show_findings(state_of_stop(stop_named("paper"), session).findings)


# -- the printer -----------------------------------------------------------------------------


def _printer(page: RoomPage) -> None:
    session = page.session
    try:
        settings = read_job_settings(session.job())["print"]
    except FitkitError as error:
        words(f"{error.cause} {error.remedy}", "p")
        return
    with box("fk-card"):
        words("Printer", "h2")
        words("Paper", "h3")
        with box("fk-choices").props('role=group aria-label="Paper"'):
            for paper in PAPERS:
                with ui.element("button").classes("fk-choice") as choice:
                    chosen = paper == settings["paper"]
                    choice.props(f"aria-pressed={'true' if chosen else 'false'}")
                    choice.on("click", partial(_set, page, "paper", paper, f"paper {paper}"))
                    words(paper, classes="fk-station-title")
        words("What the 100 mm check square measures", "h3")
        words("Pages are drawn larger or smaller by as much.", "p", "fk-soft")
        measured = list(settings["printed_mm"])

        def keep(index: int, text: str) -> None:
            try:
                measured[index] = parse_length_mm(text) if text.strip() else 100.0
            except FitkitError as error:
                page.tell(error)
                return
            _set(page, "printed_mm", list(measured), "the printer's check square")

        with box("fk-row"):
            for index, way in enumerate(("Across, mm", "Up, mm")):
                field(way, f"{measured[index]:g}", partial(keep, index),
                      classes="fk-short")  # fmt: skip


def _set(page: RoomPage, key: str, value: Any, told: str) -> None:
    page.try_to(lambda: change_setting(page.session.job(), "print", key, value, words=told))


# -- the book --------------------------------------------------------------------------------


def _book(page: RoomPage) -> None:
    session = page.session
    state = next((one for one in session.check().states if one.step == "book"), None)
    with box("fk-card"):
        words("Build book", "h2")
        shown = made_address(session, "book", "build-book.pdf")
        if shown is None or state is None:
            words("How each part is made, what to buy, how it goes together.", "p", "fk-soft")
        else:
            if state.state != "fresh":
                words("Out of date: " + ", ".join(state.reasons[:3]), "p", "fk-soft")
            show_findings(state.record.findings if state.record else ())
            with box("fk-row"):
                for name, told in (("build-book.pdf", "Save the book"),
                                   ("hardware.csv", "Save the hardware list")):  # fmt: skip
                    address = made_address(session, "book", name, save=True)
                    if address is not None:
                        download(told, address)
        if (state is None or state.state != "fresh") and session.made("templates"):
            button("Make the build book",
                   lambda: page.start("make", "Making the build book", until="book"),
                   enabled=not session.working)  # fmt: skip


# -- the parts -------------------------------------------------------------------------------


def _parts(page: RoomPage) -> None:
    session = page.session
    try:
        parts = see_pages(session.job())
    except FitkitError as error:
        words(f"{error.cause} {error.remedy}", "p")
        return
    if not parts:
        return
    with box("fk-card"):
        words("Parts", "h2")
        with table(("", "Part", "Sheet", "Size, mm", "Mass, g", "For the cutter"), right=(3, 4)):
            for part in parts:
                _part(page, part)
        listed = made_address(session, "pages", "parts.csv", save=True)
        if listed is not None:
            download("Save the part list", listed)
        words(
            "Deburr every edge and hole before handling. Gloves for sheet, never near a turning "
            "drill; eyes and ears covered.",
            "p",
            "fk-soft",
        )


def _part(page: RoomPage, part: SeenPart) -> None:
    with box(tag="tr"):
        words(str(part.number), "td", "fk-right")
        words(part.title, "th").props("scope=row")
        words(part.sheet, "td")
        words(f"{part.width_mm:.0f} × {part.height_mm:.0f}", "td", "fk-right")
        words(f"{part.mass_g:.0f}", "td", "fk-right")
        with box("fk-row", "td"):
            for name in part.files:
                address = made_address(page.session, "pages", name, save=True)
                kind = name.rpartition(".")[2].upper()
                if address is not None:
                    link = download(kind, address)
                    link._props["aria-label"] = f"Save {part.title} as {kind}"
