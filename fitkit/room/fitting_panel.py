"""What is fitted to a patch: listed beside it, added, and each told by fields of its own."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from typing import TYPE_CHECKING, Any, get_args

from nicegui import ui

from fitkit.errors import InputError
from fitkit.holding.fastener_design import FastenerKind, Load
from fitkit.holding.strap_design import Closing
from fitkit.materials.rivet import rivets
from fitkit.materials.sheet_material import sheet_materials
from fitkit.room.design_desk import DesignDesk
from fitkit.room.design_state import Chosen
from fitkit.room.drop_area import DropArea
from fitkit.room.emblem_routes import EMBLEM_ADDRESS
from fitkit.room.form_fields import choice, tick
from fitkit.room.page import RoomPage
from fitkit.room.page_parts import box, button, field, words
from fitkit.room.row_fields import Do, Row, RowFields
from fitkit.workflow.edit_job import add_rows, anchor_values, anchor_words
from fitkit.workflow.fittings import (
    FITTINGS,
    FittingKind,
    emblem_files,
    fitting_places,
    fittings_on,
    new_fitting,
    patches_of,
    with_place,
)
from fitkit.workflow.place_landmarks import see_places

if TYPE_CHECKING:
    from fitkit.geometry.arrays import Floats

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
_SHAPES = ("cone", "tube", "spike", "fin", "dome")


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
    joints = _joints(desk) if kind == "pivot" else None
    row = new_fitting(desk.now.patches, kind, patch, joints=joints)
    chosen = Chosen(kind, str(row.get("name", patch)))
    await desk.editing.edit(partial(add_rows, job, kind, [row]), then_choose=chosen)


def _joints(desk: DesignDesk) -> Mapping[str, Floats]:
    """Return where the joints of the body are, by name."""
    session = desk.session
    version = session.versions("body"), str(session.settings().get("motion"))
    places = session.seen("joints", version, lambda: see_places(session.job()))
    return {} if places is None else {joint.name: joint.at_mm for joint in places.joints}


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
            _TOLD[kind](fields)
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


# -- by kind ---------------------------------------------------------------------------------


def _options(names: tuple[str, ...]) -> list[tuple[str, str]]:
    return [(name, name) for name in names]


def _material(fields: RowFields, bare: str) -> None:
    names = tuple(one.name for one in sheet_materials())
    fields.one_of("Material", "material", _options(names), bare=bare)


def _ticked(fields: RowFields, label: str, key: str) -> None:
    def read(row: Row) -> bool:
        return bool(row.get(key, False))

    made = tick(label, read(fields.row()), fields.keeps(lambda v: {key: True if v else None}))
    fields.add(made, read)


def _text(fields: RowFields, label: str, key: str) -> None:
    keep = fields.keeps(lambda v: {key: " ".join(str(v).split()) or None})
    with box("fk-whole"):
        fields.add(field(label, fields.row().get(key, ""), keep), lambda row: row.get(key, ""))


def _count(fields: RowFields, label: str, key: str, *, hint: str) -> None:
    """Put a number of pieces on the page; left empty it is as usual."""

    def read(row: Row) -> str:
        return "" if row.get(key) is None else f"{row[key]}"

    def values(text: Any) -> Row:
        told = str(text).strip()
        if told and not told.isdigit():
            raise InputError(f"{label}: '{text}' is not a number of pieces.", "Write one as 2.")
        return {key: int(told) if told else None}

    made = field(label, read(fields.row()), fields.keeps(values), hint=hint, classes="fk-short")
    fields.add(made, read)


def _strap(fields: RowFields) -> None:
    fields.length("Wide, mm", "width_mm", hint="25")
    fields.length("Thick, mm", "thickness_mm", hint="3")
    _material(fields, "leather")
    fields.one_of("Closed by", "closing", _options(get_args(Closing)), bare="buckle")
    names = tuple(rivet.name for rivet in rivets())
    fields.one_of("Riveted with", "rivets", _options(names), bare="blind 4")
    lies = [("form", "over the padding"), ("body", "on the body")]
    fields.one_of("Between the plates", "over", lies, bare="form")
    fields.length("Let out and in by, mm", "play_mm", hint="10")
    fields.length("Hole to hole, mm", "pitch_mm", hint="20")
    _ticked(fields, "On the other side too", "pair")
    _text(fields, "Note on the template", "note")


def _fastener(fields: RowFields) -> None:
    kinds = [("", "chosen by its load"), *_options(get_args(FastenerKind))]
    fields.one_of("What it is", "kind", kinds, bare="")
    loads = {"light": "light: a trim", "medium": "medium: one of several",
             "heavy": "heavy: carries others"}  # fmt: skip
    fields.one_of("Load", "load", [(one, loads[one]) for one in get_args(Load)], bare="medium")
    _ticked(fields, "Opened each time", "often")
    _ticked(fields, "On the other side too", "pair")


def _pad(fields: RowFields) -> None:
    _material(fields, "foam")
    fields.length("Thick, mm", "thickness_mm", hint="fills the room")
    _count(fields, "Layers", "layers", hint="1")
    fields.length("Inside the edge by, mm", "edge_mm", hint="10")


def _gusset(fields: RowFields) -> None:
    _material(fields, "leather")
    fields.length("Thick, mm", "thickness_mm", hint="1.5")
    fields.length("Under each plate, mm", "under_mm", hint="25")
    fields.length("Seam beyond, mm", "seam_mm", hint="10")
    fields.length("Widest gap, mm", "reach_mm", hint="80")
    _ticked(fields, "On the other side too", "pair")


def _attachment(fields: RowFields) -> None:
    fields.one_of("Shape", "kind", _options(_SHAPES), bare="cone")
    fields.length("Across, mm", "across_mm")
    fields.length("High, mm", "height_mm")
    if fields.row().get("kind") == "cone":
        fields.length("Across its open top, mm", "top_mm", hint="0")
    fields.number("Turned by, degrees", "turn_deg", hint="0")
    fields.number("Leans by, degrees", "lean_deg", hint="0")
    fields.number("Leans towards, degrees", "toward_deg", hint="0, up")
    _material(fields, "card")
    fields.length("Thick, mm", "thickness_mm", hint="0.5")
    _count(fields, "Tabs", "tabs", hint="6")
    fields.length("Tabs long, mm", "tab_mm", hint="12")
    fields.length("Holes, mm", "hole_mm", hint="3.2")
    fields.length("Lap of its seam, mm", "seam_lap_mm", hint="10")
    if fields.row().get("kind") == "dome":
        _count(fields, "Gores", "gores", hint="8")
    _text(fields, "Note on the template", "note")


def _artwork(fields: RowFields) -> None:
    files = emblem_files(fields.lines.job.folder)
    fields.one_of("File in the job folder", "file", _options(files), bare="")
    fields.length("Wide, mm", "width_mm")
    fields.number("Turned by, degrees", "turn_deg", hint="0")
    twins = [("mirrored", "mirrored"), ("same", "the same way round"), ("none", "left out")]
    fields.one_of("On the twin", "twin", twins, bare="mirrored")


def _pivot(fields: RowFields) -> None:
    fields.one_of("Goes by the joint", "joint", _options(tuple(_joints(fields.desk))), bare="")
    fields.number("By its share of the turn", "share", hint="1")
    fields.length("Screw, mm", "screw_mm", hint="4")
    if not fitting_places(fields.row()):
        words("It swings where it slides most nearly into itself.", "p", "fk-soft")
        button("Put it by hand", partial(_put_by_hand, fields), small=True)
    else:
        button("Where it slides best", lambda: fields.do(_told, fields, {"at": None}), small=True)


def _put_by_hand(fields: RowFields) -> None:
    patches = fields.desk.now.patches
    if patches is not None:
        at = new_fitting(patches, "attachment", fields.name)["at"]
        fields.do(_told, fields, {"at": at})


async def _told(fields: RowFields, values: Row) -> None:
    await fields.desk.editing.tell_row("pivot", fields.name, lambda: values)


def _hardware(fields: RowFields) -> None:
    _count(fields, "How many", "count", hint="1")
    fields.length("Long, mm", "length_mm")
    _text(fields, "Note", "note")


_TOLD: Mapping[FittingKind, Callable[[RowFields], None]] = {
    "strap": _strap,
    "fastener": _fastener,
    "pad": _pad,
    "gusset": _gusset,
    "attachment": _attachment,
    "artwork": _artwork,
    "pivot": _pivot,
    "hardware": _hardware,
}
