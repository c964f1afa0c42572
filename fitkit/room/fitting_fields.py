"""The fields of each kind of thing that is fitted to a patch."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from typing import TYPE_CHECKING, Any, get_args

from fitkit.errors import InputError
from fitkit.holding.fastener_design import FastenerKind, Load
from fitkit.holding.strap_design import Closing
from fitkit.materials.galvanic import METALS
from fitkit.materials.rivet import screw_metals
from fitkit.materials.sheet_material import sheet_materials
from fitkit.room.design_desk import DesignDesk
from fitkit.room.form_fields import tick
from fitkit.room.page_parts import box, button, field, words
from fitkit.room.rivet_fields import rivet_fields
from fitkit.room.row_fields import Row, RowFields
from fitkit.workflow.fittings import FittingKind, emblem_files, fitting_places, new_fitting
from fitkit.workflow.place_landmarks import see_places

if TYPE_CHECKING:
    from fitkit.geometry.arrays import Floats

__all__ = ["FIELDS_OF", "joints_by_name"]

_SHAPES = ("cone", "tube", "spike", "fin", "dome")


def joints_by_name(desk: DesignDesk) -> Mapping[str, Floats]:
    """Return where the joints of the body are, by name."""
    session = desk.session
    version = session.versions("body"), str(session.settings().get("motion"))
    places = session.seen("joints", version, lambda: see_places(session.job()))
    return {} if places is None else {joint.name: joint.at_mm for joint in places.joints}


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
    rivet_fields(
        fields,
        "Riveted with",
        lambda row: str(row.get("rivets", "blind 4")),
        lambda name: {"rivets": name},
    )
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
    fields.one_of("Screws of", "screw_metal", _options(screw_metals()), bare=screw_metals()[0])
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
    fields.one_of(
        "Goes by the joint", "joint", _options(tuple(joints_by_name(fields.desk))), bare=""
    )
    fields.number("By its share of the turn", "share", hint="1")
    fields.length("Screw, mm", "screw_mm", hint="4")
    metals = [("", "not told"), *_options(METALS)]
    fields.one_of("Screw of", "screw_metal", metals, bare="")
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


FIELDS_OF: Mapping[FittingKind, Callable[[RowFields], None]] = {
    "strap": _strap,
    "fastener": _fastener,
    "pad": _pad,
    "gusset": _gusset,
    "attachment": _attachment,
    "artwork": _artwork,
    "pivot": _pivot,
    "hardware": _hardware,
}
"""Puts them on the page, by kind."""
