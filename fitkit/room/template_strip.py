"""The templates that were made, each lit up with its patch on the body, and the other way round."""

from __future__ import annotations

from functools import partial

from nicegui import ui

from fitkit.room.design_desk import DesignDesk
from fitkit.room.made_routes import made_address
from fitkit.room.page_parts import box, words
from fitkit.room.session import RoomSession
from fitkit.workflow.made_files import template_pictures

__all__ = ["template_strip"]


def template_strip(session: RoomSession, desk: DesignDesk) -> None:
    """Show the templates in a row; pointing at one lights up its patch."""
    if desk.now.lines is None:
        return
    pictures = template_pictures(desk.now.lines.job, session.made("templates"))
    if not pictures:
        return
    with box("fk-card"):
        words("Templates", "h2")
        with box("fk-strip", "ul"):
            for patch, name in pictures:
                _template(session, desk, patch, name)


def _template(session: RoomSession, desk: DesignDesk, patch: str, name: str) -> None:
    with box(tag="li"):
        card = box("fk-template", "button")
        card.props("type=button")
        card._props["data-patch"] = patch
        card._props["aria-label"] = f"Template of {patch}"
        with card:
            image = ui.element("img")
            address = made_address(session, "templates", name)
            image._props |= {"src": address, "alt": "", "loading": "lazy"}
            words(name.split("-")[0].lstrip("0"), "span", "fk-number")
    card.on("pointerenter", partial(desk.pointing.at, patch))
    card.on("pointerleave", partial(desk.pointing.at, None))
    card.on("focus", partial(desk.pointing.at, patch))
    card.on("blur", partial(desk.pointing.at, None))
    card.on("click", partial(desk.choose, "patch", patch))

    def light() -> None:
        lit = patch in (desk.now.pointed, desk.now.chosen_patch)
        if lit != ("fk-lit" in card.classes):
            card.classes(add="fk-lit") if lit else card.classes(remove="fk-lit")

    desk.followers.add(light, within=card)
    light()
