"""What is fitted to a patch: listed beside it, added, and each told by fields of its own."""

from __future__ import annotations

import asyncio
from collections.abc import Mapping
from functools import partial
from typing import Any

from nicegui import ui

from fitkit.room.design_desk import DesignDesk
from fitkit.room.design_state import Chosen
from fitkit.room.drop_area import DropArea
from fitkit.room.emblem_routes import EMBLEM_ADDRESS
from fitkit.room.fitting_fields import FIELDS_OF, joints_by_name
from fitkit.room.form_fields import choice
from fitkit.room.page import RoomPage
from fitkit.room.page_parts import box, button, field, words
from fitkit.room.row_fields import Do, Row, RowFields
from fitkit.workflow.edit_job import add_rows, anchor_values, anchor_words
from fitkit.workflow.fittings import (
    FITTINGS,
    FittingKind,
    fitting_places,
    fittings_on,
    new_fitting,
    patches_of,
    with_place,
)

__all__ = ["fitting_panel", "fittings_card"]

_TITLES: Mapping[FittingKind, str] = {
    "strap": "Strap",
    "fastener": "Fastener",
    "pad": "Pad glued inside",
    "gusset": "Soft piece in a gap",
    "attachment": "Stands on it",
    "artwork": "Emblem",
    "pivot": "Pivot",
    "hardware": "To buy",
}
_ADDED: Mapping[FittingKind, str] = {
    "strap": "a strap",
    "fastener": "a fastener",
    "pad": "a pad glued inside",
    "gusset": "a soft piece in a gap",
    "attachment": "a cone, tube, spike, fin or dome",
    "artwork": "an emblem",
    "pivot": "a pivot",
    "hardware": "something to buy",
}
_FASTENED: Mapping[FittingKind, tuple[str, str]] = {
    "strap": ("Riveted to", "Closed on"),
    "fastener": ("Outer plate", "On top of"),
    "gusset": ("Between", "and"),
}


# -- beside the patch ------------------------------------------------------------------------


def fittings_card(desk: DesignDesk, do: Do, patch: str) -> None:
    """List what is fitted to a patch, and offer to add more."""
    assert desk.now.lines is not None
    found = fittings_on(desk.now.lines.job.settings, patch)
    with box("fk-field"):
        words("Fitted to it", "h3")
        with box("fk-rows", "ul"):
            for one in found:
                with box(tag="li"):
                    if not one.told_once:
                        words(f"{one.name}: {one.words}. Another has that name; change it in "
                              "job.toml.", "p", "fk-soft")  # fmt: skip
                        continue
                    row = box("fk-choose", "button").props("type=button")
                    row._props["data-key"] = f"{one.kind} {one.name}"
                    row.on("click", partial(desk.choose, one.kind, one.name))
                    with row:
                        words(one.name, "span", "fk-choose-title")
                        words(one.words, "span", "fk-soft")

        async def added(kind: Any) -> None:
            do(_add, desk, str(kind), patch)

        kinds = [("", "choose what"), *((kind, _ADDED[kind]) for kind in FITTINGS)]
        # Built anew with each, so that it asks again.
        made = choice("Add to it", "", added, kinds)
        made._props["data-key"] = f"add to {patch} beside {len(found)}"
        _emblem_to_drop(desk, do, patch)


def _emblem_to_drop(desk: DesignDesk, do: Do, patch: str) -> None:
    """Offer a place where an emblem's file is dropped, to be laid on a patch."""

    def sent(taken: int, refused: list[str]) -> None:
        for text in refused[:3]:
            ui.notify(text, type="negative", multi_line=True, timeout=12000)
        if taken:
            do(_add, desk, "artwork", patch)

    with box("fk-notes", "details"):
        words("An emblem from a file", "summary")
        DropArea(
            EMBLEM_ADDRESS,
            accept=".svg,.png,.jpg,.jpeg",
            files_words="Choose a drawing",
            idle="or drop it here: SVG, PNG, JPEG",
            sent=sent,
        )


async def _add(desk: DesignDesk, kind: FittingKind, patch: str) -> None:
    """Add one where it can be, and look at it."""
    if desk.now.patches is None:
        return
    job = desk.session.job()
    joints = joints_by_name(desk) if kind == "pivot" else None
    row = await asyncio.to_thread(new_fitting, desk.now.patches, kind, patch, joints=joints)
    chosen = Chosen(kind, str(row.get("name", patch)))
    await desk.editing.edit(partial(add_rows, job, kind, [row]), then_choose=chosen)


# -- one of them -----------------------------------------------------------------------------


def fitting_panel(page: RoomPage, desk: DesignDesk, do: Do, kind: FittingKind, name: str) -> None:
    """Put what can be told of one thing that is fitted on the page."""
    row = desk.now.row(kind, name)
    if row is None or desk.now.lines is None:
        return
    fields = RowFields(page, desk, do, kind, name)
    with fields.box:
        words(_TITLES[kind], "h2")
        if kind != "pivot":
            fields.name_field()
        with box("fk-pair"):
            for index, label in enumerate(_FASTENED.get(kind, ())):
                _fastened(fields, kind, index, label)
        _places(fields, row)
        with box("fk-pair"):
            FIELDS_OF[kind](fields)
        with box("fk-row"):
            for patch in dict.fromkeys(patches_of(kind, row)):
                button(f"Go to '{patch}'", partial(desk.choose, "patch", patch), small=True)
            button("Take it out", lambda: do(desk.editing.remove), small=True)


def _fastened(fields: RowFields, kind: FittingKind, index: int, label: str) -> None:
    key = "between" if kind == "gusset" else "on"

    def read(row: Row) -> str:
        told = patches_of(kind, row)
        return told[index] if index < len(told) else ""

    def values(patch: Any) -> Row:
        told = list(patches_of(kind, fields.row()))
        told[index] = str(patch)
        return {key: told}

    names = [(one.name, one.name) for one in fields.lines.job.settings.patch]
    fields.add(choice(label, read(fields.row()), fields.keeps(values), names), read)


def _places(fields: RowFields, row: Row) -> None:
    """Put its places on the page, as they are dragged on the body."""
    told = fitting_places(row)
    with box("fk-places"):
        for number in range(1, len(told) + 1):
            with box("fk-row"):
                words(str(number), "span", "fk-place-number").props("aria-hidden=true")
                _place(fields, number)
    if told:
        words("Drag a yellow place on the body, or type it.", "p", "fk-soft")


def _place(fields: RowFields, number: int) -> None:
    def read(row: Row) -> str:
        told = fitting_places(row)
        return anchor_words(told[number - 1]) if number <= len(told) else ""

    def values(text: Any) -> Row:
        return with_place(fields.row(), number, anchor_values(str(text)))

    keep = fields.keeps(values)
    fields.add(field(f"Place {number}", read(fields.row()), keep, shown=False), read)
