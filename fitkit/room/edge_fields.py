"""What is done along each edge of a patch: left as cut, lapped, riveted, turned over."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fitkit.room.form_fields import choice
from fitkit.room.page_parts import box, field, words
from fitkit.room.rivet_fields import rivet_fields
from fitkit.room.row_fields import Row, RowFields, typed_length_mm

__all__ = ["edge_fields"]

# How each is told in the job, in words, what its size is, and the size it begins with: common
# practice, no source.
_WORKED: Mapping[str, tuple[str, str, float]] = {
    "lap_mm": ("lap", "Wide, mm", 12.0),
    "hem_mm": ("folded once", "Wide, mm", 6.0),
    "double_hem_mm": ("folded twice", "Wide, mm", 6.0),
    "wire_mm": ("round a wire", "Wire, mm", 3.0),
    "bead_mm": ("hollow bead", "Inside, mm", 4.0),
    "flange_mm": ("flange", "High, mm", 10.0),
    "trim_mm": ("spare, cut off later", "Wide, mm", 10.0),
}
_RIVETED, _FIRST_RIVET = "rivets", "blind 3.2"


def edge_fields(fields: RowFields, lines: tuple[str, ...]) -> None:
    """Put the edges of a patch on the page, each by the line that it runs along."""
    with box("fk-field"):
        words("Along its edges", "h3")
        with box("fk-edges"):
            for line in lines:
                with box("fk-edge") as row:
                    row._props["data-key"] = f"edge {line} {_worked(fields.row(), line)}"
                    _edge(fields, line)


def _edge(fields: RowFields, line: str) -> None:
    worked = _worked(fields.row(), line)

    def begun(way: Any) -> Row:
        if way == "":
            return {"edges": {line: None}}
        if way == _RIVETED:
            return {"edges": {line: {"rivets": _FIRST_RIVET}}}
        return {"edges": {line: {str(way): _WORKED[str(way)][2]}}}

    ways = [("", "as cut"), *((key, told) for key, (told, *_) in _WORKED.items())]
    ways.insert(2, (_RIVETED, "riveted lap"))
    made = choice(line, worked, fields.keeps(begun), ways)
    fields.add(made, lambda row: _worked(row, line))
    if worked == _RIVETED:
        _rivets(fields, line)
    elif worked:
        _length(fields, line, worked, _WORKED[worked][1])
    if worked == "flange_mm":
        _length(fields, line, "radius_mm", "Bend, mm", hint="1.5")


def _rivets(fields: RowFields, line: str) -> None:
    def read(row: Row) -> str:
        return str(_told(row, line).get("rivets", ""))

    def values(name: str) -> Row:
        return {"edges": {line: {**_told(fields.row(), line), "rivets": name}}}

    rivet_fields(fields, "Rivet", read, values)
    _length(fields, line, "pitch_mm", "Apart, mm", hint="usual")
    _length(fields, line, "lap_mm", "Lap, mm", hint="usual")


def _length(fields: RowFields, line: str, key: str, label: str, *, hint: str = "") -> None:
    """Put one length of an edge on the page; left empty it is as usual."""

    def read(row: Row) -> str:
        length = _told(row, line).get(key)
        return "" if length is None else f"{length:g}"

    def values(text: Any) -> Row:
        length_mm = typed_length_mm(text, f"{label} along {line}")
        edge = {**_told(fields.row(), line), key: length_mm}
        told = {name: value for name, value in edge.items() if value is not None}
        return {"edges": {line: told or None}}

    made = field(label, read(fields.row()), fields.keeps(values), hint=hint, classes="fk-short")
    made._props["aria-label"] = f"{label}, along {line}"
    fields.add(made, read)


def _told(row: Row, line: str) -> dict[str, Any]:
    return dict(row.get("edges", {}).get(line, {}))


def _worked(row: Row, line: str) -> str:
    """Return by which key an edge is worked, empty where it is as cut."""
    edge = _told(row, line)
    if edge.get("rivets") is not None:
        return _RIVETED
    return next((key for key in _WORKED if edge.get(key) is not None), "")
