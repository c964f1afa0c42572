"""One tape line: how it is told, changed by slider and by number."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from functools import partial
from typing import Any

from fitkit.room.design_desk import DesignDesk
from fitkit.room.form_fields import choice, slide, tick
from fitkit.room.page import RoomPage
from fitkit.room.page_parts import box, button, field, words
from fitkit.room.row_fields import Do, Row, RowFields
from fitkit.units import parse_length_mm
from fitkit.workflow.draw_line import (
    axis_range_mm,
    has_twin,
    line_facts,
    mirrored_row,
    on_axis,
    parallel_row,
    twin_name,
)
from fitkit.workflow.edit_job import anchor_values, anchor_words

__all__ = ["line_panel"]

_TOWARDS = ("up", "down", "left", "right", "front", "back", "in", "out")
_KINDS = {
    "level": "level",
    "geodesic": "shortest way",
    "through": "smooth",
    "symmetry": "the middle",
    "parallel": "parallel",
    "mirrored": "other side",
    "round": "circle",
}


def line_panel(page: RoomPage, desk: DesignDesk, do: Do, name: str) -> None:
    """Put what can be told of a line on the page."""
    assert desk.now.lines is not None
    row = desk.now.row("line", name)
    if row is None:
        with box("fk-card"):
            words(name, "h2")
            words("The rim of a round patch; change it there.", "p", "fk-soft")
        return
    fields = RowFields(page, desk, do, "line", name)
    with fields.box:
        words(f"Line: {_KINDS[row['kind']]}", "h2")
        fields.name_field()
        _TOLD[row["kind"]](fields, row)
        with box("fk-row"):
            if not has_twin(desk.now.lines, name):
                twin = mirrored_row(twin_name(name), name)
                button("On the other side too", lambda: do(desk.editing.add_line, twin), small=True)
            if name not in desk.now.lines.faults:
                button("One beside it", lambda: do(_add_beside, desk, name), small=True)
            button("Take it out", lambda: do(desk.editing.remove), small=True)
        for fact in line_facts(desk.now.lines, name):
            words(fact, "p", "fk-soft fk-number")


async def _add_beside(desk: DesignDesk, name: str) -> None:
    assert desk.now.lines is not None
    await desk.editing.add_line(parallel_row(desk.now.lines, name))


def _level(fields: RowFields, row: Row) -> None:
    desk = fields.desk
    axis = row.get("axis", "trunk")
    axes = [(name, name) for name in fields.lines.drawn.form.body.axes]

    async def onto(other: Any) -> None:
        fields.do(desk.editing.tell_line, fields.name, on_axis(fields.lines, str(other)))

    fields.add(choice("Round the", axis, onto, axes), lambda row: row.get("axis", "trunk"))
    if "between" in row:
        low, high = row["between"]
        words(f"{row.get('part', 0.5):g} of the way from {low} to {high}", "p", "fk-soft")
    elif "along" in row:
        _slid(fields, "Along, 0 at its start", "along", 0.0, 1.0, 0.005, float)
    else:
        low_mm, high_mm = axis_range_mm(fields.lines, "trunk")
        _slid(
            fields, "Height over the floor, mm", "height_mm", low_mm, high_mm, 1.0, parse_length_mm
        )
    _slid(fields, "Tipped, front down, degrees", "tilt_deg", -45.0, 45.0, 0.5, float)


def _slid(
    fields: RowFields,
    label: str,
    key: str,
    lowest: float,
    highest: float,
    step: float,
    read: Callable[[Any], float],
) -> None:
    """Put one number on the page, to be slid or typed."""

    def is_now(row: Row) -> float:
        return float(row.get(key, 0.0))

    async def slid(value: Any) -> None:
        await fields.desk.trying.line(fields.name, {key: float(value)})

    keep = fields.keeps(lambda value: {key: read(value)})
    now = is_now(fields.row())
    with box("fk-slid"):
        made = slide(label, now, lowest, highest, step=step, slid=slid, keep=keep)
        fields.add(made, is_now)
        number = field(
            f"{label}, as a number", f"{now:g}", keep, classes="fk-short fk-number", shown=False
        )
        fields.add(number, lambda row: f"{is_now(row):g}")


def _places(fields: RowFields, row: Row) -> None:
    kinds = [("geodesic", "shortest way"), ("through", "smooth")]
    runs = choice("Runs", row["kind"], fields.keeps(lambda v: _kind_told(fields, str(v))), kinds)
    fields.add(runs, lambda row: row["kind"])
    closed = tick("Closed", row.get("closed", False), fields.keeps(lambda v: {"closed": bool(v)}))
    fields.add(closed, lambda row: bool(row.get("closed", False)))
    with box("fk-places"):
        for number, place in enumerate(row["points"], 1):
            with box("fk-row"):
                words(str(number), "span", "fk-place-number").props("aria-hidden=true")
                _place(fields, number, anchor_words(place))
    desk = fields.desk
    if desk.now.stroke.line != fields.name and not row.get("closed"):
        button("Draw on from its end", partial(desk.drawing.draw_on, fields.name), small=True)


def _kind_told(fields: RowFields, kind: str) -> Row:
    row = fields.row()
    return {"kind": kind, **{key: row[key] for key in ("closed", "points") if key in row}}


def _place(fields: RowFields, number: int, told: str) -> None:
    desk = fields.desk

    def moved(text: Any) -> Awaitable[None]:
        return desk.editing.tell_line(fields.name, {}, moved={number: anchor_values(str(text))})

    def read(row: Row) -> str:
        points = row.get("points", [])
        return anchor_words(points[number - 1]) if number <= len(points) else ""

    fields.add(field(f"Place {number}", told, fields.acts(moved), shown=False), read)
    if len(fields.row()["points"]) > 2:

        def without() -> None:
            points = [p for i, p in enumerate(fields.row()["points"], 1) if i != number]
            fields.do(desk.editing.tell_line, fields.name, {"points": points})

        button("Leave out", without, small=True, label=f"Leave out place {number}")


def _parallel(fields: RowFields, row: Row) -> None:
    others = [(one.name, one.name) for one in fields.lines.told if one.name != fields.name]
    of = choice("Parallel to", row["of"], fields.keeps(lambda v: {"of": str(v)}), others)
    fields.add(of, lambda row: row["of"])
    apart = fields.keeps(lambda v: {"distance_mm": parse_length_mm(v, what="distance")})
    fields.add(
        field("Distance, mm", f"{row['distance_mm']:g}", apart, classes="fk-short"),
        lambda row: f"{row['distance_mm']:g}",
    )
    sides = [(side, side) for side in _TOWARDS]
    towards = choice("Towards", row["towards"], fields.keeps(lambda v: {"towards": str(v)}), sides)
    fields.add(towards, lambda row: row["towards"])


def _round(fields: RowFields, row: Row) -> None:
    centre = fields.keeps(lambda v: {"centre": anchor_values(str(v))})
    fields.add(
        field("Centre", anchor_words(row["centre"]), centre),
        lambda row: anchor_words(row["centre"]),
    )
    radius = fields.keeps(lambda v: {"radius_mm": parse_length_mm(v, what="radius")})
    fields.add(
        field("Radius, mm", f"{row['radius_mm']:g}", radius, classes="fk-short"),
        lambda row: f"{row['radius_mm']:g}",
    )


def _mirrored(fields: RowFields, row: Row) -> None:
    words(f"'{row['of']}' drawn again on the other side", "p", "fk-soft")
    button(f"Go to '{row['of']}'", lambda: fields.desk.choose("line", row["of"]), small=True)


def _symmetry(fields: RowFields, row: Row) -> None:  # noqa: ARG001  as the others
    words("Down the front and up the back, halfway between left and right", "p", "fk-soft")


_TOLD: dict[str, Callable[[RowFields, Row], None]] = {
    "level": _level,
    "geodesic": _places,
    "through": _places,
    "symmetry": _symmetry,
    "parallel": _parallel,
    "mirrored": _mirrored,
    "round": _round,
}
