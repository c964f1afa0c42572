"""One patch: what it is made of and how its edges are worked; and naming a new one."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any, get_args

from nicegui import ui
from nicegui.events import GenericEventArguments

from fitkit.errors import InputError
from fitkit.materials.forming import Forming
from fitkit.materials.sheet_material import sheet_materials
from fitkit.room.design_desk import DesignDesk
from fitkit.room.edge_fields import edge_fields
from fitkit.room.fitting_panel import fittings_card
from fitkit.room.form_fields import choice, tick
from fitkit.room.page import RoomPage
from fitkit.room.page_parts import box, button, field, words
from fitkit.room.row_fields import Do, Row, RowFields, typed_length_mm
from fitkit.workflow.design_view import PatchView
from fitkit.workflow.divide_patches import join_patches, split_patch
from fitkit.workflow.draw_line import free_name
from fitkit.workflow.pad_patch import pad_patch, pad_under

__all__ = ["new_patch_panel", "patch_panel"]

_SIDES = (("centre", "the middle"), ("left", "the left"), ("right", "the right"))


def new_patch_panel(desk: DesignDesk, do: Do) -> None:
    """Ask for the name of the patch round the place that was clicked."""
    with box("fk-card"):
        words("New patch", "h2")
        with box("fk-field"):
            words("Name", "span", "fk-label").props("aria-hidden=true")
            named = ui.element("input").classes("fk-input")
            named._props |= {"aria-label": "Name of the new patch", "autocomplete": "off"}
            named._props |= {"placeholder": "breast plate", "autofocus": True}

        def name_it(event: GenericEventArguments) -> None:
            do(desk.editing.add_patch, str(event.args))

        named.on("keydown.enter", name_it, js_handler=_VALUE)
        with box("fk-row"):
            kept = ui.button("Name it", color=None).props("no-caps unelevated")
            kept.classes("fk-button fk-first").on("click", name_it, js_handler=_VALUE_BESIDE)
            button("Leave it", desk.drawing.lift)


_VALUE = "(event) => emit(event.target.value)"
_VALUE_BESIDE = "(event) => emit(event.target.closest('.fk-card').querySelector('input').value)"


def patch_panel(page: RoomPage, desk: DesignDesk, do: Do, name: str) -> None:
    """Put what can be told of a patch on the page."""
    row, patches = desk.now.row("patch", name), desk.now.patch_views
    if row is None or desk.now.lines is None:
        return
    view = next((one for one in patches if one.design.name == name), None)
    fields = RowFields(page, desk, do, "patch", name)
    with fields.box:
        words(f"Patch {view.number if view else ''}", "h2")
        fields.name_field()
        if view is not None and view.fault is not None:
            words(f"{view.fault.cause} {view.fault.remedy}", "p", "fk-wrong-words")
        _stuff(fields)
        _over(fields, [one.design.name for one in patches if one.design.name != name])
        _place(fields, row)
        if view is not None:
            told = row.get("edges", {})
            edge_fields(fields, tuple(dict.fromkeys([*view.edges, *_seam(row), *told])))
            _opened(fields, view)
        fittings_card(desk, do, name)
        _more(desk, do, name, view)


def _stuff(fields: RowFields) -> None:
    form_mm = fields.lines.job.settings.form.room_mm()
    materials = [(one.name, one.name) for one in sheet_materials()]
    with box("fk-pair"):
        fields.one_of("Material", "material", materials, bare="card")
        fields.length("Thick, mm", "thickness_mm", hint="0.5")
        ways = [("", "by material"), *((way, way) for way in get_args(Forming))]
        fields.one_of("Formed by", "forming", ways, bare="")
        least = [("", "worst spot"), ("overall", "overall")]
        fields.one_of("Least strain", "ease", least, bare="")
        fields.length("Room under it, mm", "clearance_mm", hint=f"{form_mm:g}")
        fields.length("Bridges hollows by, mm", "bridge_mm", hint="0")
        _pad(fields)


def _over(fields: RowFields, others: list[str]) -> None:
    """Offer the patches that this one may lie over."""
    if not others:
        return
    with box("fk-field"):
        words("Lies over", "span", "fk-label")
        with box("fk-pair"):
            for other in others:
                fields.listed(other, "over")


def _place(fields: RowFields, row: Row) -> None:
    with box("fk-pair"):
        fields.one_of("Drawn on", "side", list(_SIDES), bare="centre")
        pair = tick("In a pair", bool(row.get("pair")), fields.keeps(_paired(fields)))
        fields.add(pair, lambda row: bool(row.get("pair", False)))
        lines = [(one.name, one.name) for one in fields.lines.told]
        fields.one_of("Opened along", "seam", [("", "the shortest way"), *lines], bare="")
        ways = [("", "any way"), ("up", "up"), ("round", "round"), *lines]
        fields.one_of("Grain runs", "grain", ways, bare="")
    note = fields.keeps(lambda v: {"note": str(v).strip() or None})
    fields.add(
        field("Note on the template", row.get("note", ""), note), lambda r: r.get("note", "")
    )


def _seam(row: Row) -> tuple[str, ...]:
    """Return the edge that opening it makes, where it is opened."""
    return ("seam",) if row.get("seam") else ()


def _paired(fields: RowFields) -> Callable[[Any], Row]:
    def values(wanted: Any) -> Row:
        if wanted and fields.row().get("side", "centre") == "centre":
            raise InputError(
                "A patch in the middle of the body has no other side.",
                "Say first that it is drawn on the left or the right.",
            )
        return {"pair": True if wanted else None}

    return values


def _opened(fields: RowFields, view: PatchView) -> None:
    """Offer what is decided about cuts and holes."""
    with box("fk-pair"):
        fields.number("Cuts until it strains, %", "cut_to_pct", hint="usual")
        fields.length("Hole at a cut's tip, mm", "stop_hole_mm", hint="usual")
        fields.number("Grain turned by, degrees", "grain_deg", hint="0")
    with box("fk-field"):
        words("Keeps its length along", "span", "fk-label")
        with box("fk-pair"):
            for line in view.edges:
                fields.listed(line, "hold")


def _pad(fields: RowFields) -> None:
    """Offer a pad under just this patch."""
    desk, name = fields.desk, fields.name

    def now() -> str:
        pad = pad_under(fields.lines.job.settings, name)
        return "" if pad is None else f"{pad.thickness_mm:g}"

    async def kept(text: Any) -> None:
        thickness_mm = typed_length_mm(text, "pad") or None
        await desk.editing.edit(partial(pad_patch, desk.session.job(), name, thickness_mm))

    made = field("Pad under it, mm", now(), fields.acts(kept), hint="0", classes="fk-short")
    fields.add(made, lambda _: now())


def _more(desk: DesignDesk, do: Do, name: str, view: PatchView | None) -> None:
    """Divide it, join it, take it out."""
    told, patches = desk.now.lines, desk.now.patch_views
    assert told is not None
    others = [(one.design.name, one.design.name) for one in patches if one.design.name != name]
    lines = [(one.name, one.name) for one in told.told if view and one.name not in view.edges]
    folder = told.job.folder

    async def divided(line: Any) -> None:
        new = free_name(f"{name} 2", [one.design.name for one in patches])
        do(desk.editing.edit, partial(split_patch, folder, name, str(line), new))

    async def joined(other: Any) -> None:
        do(desk.editing.edit, partial(join_patches, folder, name, str(other)))

    with box("fk-pair"):
        if lines:
            choice("Divide it along", "", divided, [("", "choose a line"), *lines])
        if others:
            choice("Join it with", "", joined, [("", "choose a patch"), *others])
    button("Take it out", lambda: do(desk.editing.remove), small=True)
