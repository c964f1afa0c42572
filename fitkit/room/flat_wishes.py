"""What a patch's blank is held to: lines kept true, the way of its grain, where cuts may be."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from fitkit.errors import FitkitError
from fitkit.room.form_fields import choice, tick
from fitkit.room.page import RoomPage
from fitkit.room.page_parts import box, field, words
from fitkit.units import parse_length_mm, parse_number
from fitkit.workflow.edit_job import change_row, list_rows
from fitkit.workflow.edit_settings import read_job_settings

if TYPE_CHECKING:
    from fitkit.workflow.see_flat import SeenFlat

__all__ = ["blank_wishes", "cut_wishes"]

_EASE = (("worst spot", "worst spot"), ("overall", "overall"))


def blank_wishes(page: RoomPage, patch: SeenFlat) -> None:
    """Put on the page how the blank is laid out, to be told otherwise."""
    row = _row(page, patch)
    if row is None:
        return
    with box("fk-card"):
        words("How it is laid flat", "h2")
        _ticks(page, patch, row, "hold", "Lines that keep their true length", patch.lines)
        with box("fk-pair"):
            choice("Least strain", row["ease"], _keeper(page, patch, "ease"), _EASE)
            ways = [("", "any way"), ("up", "up"), ("round", "round")]
            ways += [(line, f"along '{line}'") for line in _lines(page, row["grain"])]
            choice("Grain runs", row["grain"] or "", _keep_grain(page, patch), ways)
            if row["grain"]:
                field("Turned by, degrees", f"{row['grain_deg']:g}",
                      _keeper(page, patch, "grain_deg", _degrees))  # fmt: skip
        tick("Contours of stretch on the template", row["contours"],
             _keeper(page, patch, "contours", _or_none))  # fmt: skip


def cut_wishes(page: RoomPage, patch: SeenFlat) -> None:
    """Put on the page what relief cuts are to reach and keep off, to be told otherwise."""
    row = _row(page, patch)
    if row is None:
        return
    lines = [line for line in patch.lines if line != "seam"]
    _ticks(page, patch, row, "no_cuts", "No cuts from", lines)
    places = sum(isinstance(one, Mapping) for one in row["no_cuts"])
    if places:
        words(f"and {places} place{'s' * (places != 1)} that job.toml keeps free", "p", "fk-soft")
    to_pct, hole_mm = row["cut_to_pct"], row["stop_hole_mm"]
    with box("fk-pair"):
        field("Cut until it gives, %", "" if to_pct is None else f"{to_pct:g}",
              _keeper(page, patch, "cut_to_pct", _percent),
              hint="usual")  # fmt: skip
        field("Hole at a cut's tip, mm", "" if hole_mm is None else f"{hole_mm:g}",
              _keeper(page, patch, "stop_hole_mm", _length), hint="as usual")  # fmt: skip


def _or_none(ticked: bool) -> bool | None:
    return ticked or None


def _degrees(text: str) -> float | None:
    return parse_number(text, sign="°", what="angle", example="45") if text.strip() else None


def _percent(text: str) -> float | None:
    return parse_number(text, sign="%", what="strain", example="5") if text.strip() else None


def _length(text: str) -> float | None:
    return parse_length_mm(text, what="hole") if text.strip() else None


def _row(page: RoomPage, patch: SeenFlat) -> Mapping[str, Any] | None:
    try:
        rows = read_job_settings(page.session.job())["patch"]
    except FitkitError:
        return None
    return next((row for row in rows if row["name"] == patch.name), None)


def _lines(page: RoomPage, now: str | None) -> list[str]:
    names = [str(row["name"]) for row in read_job_settings(page.session.job())["line"]]
    return names if now in (None, "up", "round", *names) else [*names, str(now)]


def _ticks(
    page: RoomPage,
    patch: SeenFlat,
    row: Mapping[str, Any],
    key: str,
    title: str,
    round_it: Sequence[str],
) -> None:
    """Put a box to tick for each line round the patch on the page."""
    told = list(row[key])
    lines = dict.fromkeys([*round_it, *(one for one in told if isinstance(one, str))])

    def keeper(line: str) -> Callable[[Any], None]:
        def keep(wanted: Any) -> None:
            rest = [one for one in told if one != line]
            _keep(page, patch, key, ([*rest, line] if wanted else rest) or None)

        return keep

    words(title, "h3")
    with box("fk-ticks").props(f'role=group aria-label="{title}"'):
        for line in lines:
            tick(line, line in told, keeper(line))


def _keep_grain(page: RoomPage, patch: SeenFlat) -> Callable[[Any], None]:
    def keep(value: Any) -> None:
        # Without a way there is nothing to be turned.
        gone = ["grain", "grain_deg"] if not value else []
        _change(page, patch, {"grain": value} if value else {}, gone)

    return keep


def _keeper(
    page: RoomPage,
    patch: SeenFlat,
    key: str,
    read: Callable[[Any], Any] = lambda value: value,
) -> Callable[[Any], None]:
    def keep(value: Any) -> None:
        try:
            told = read(value)
        except FitkitError as error:
            page.tell(error)
            page.session.changed()  # what could not be read is taken back
            return
        _keep(page, patch, key, told)

    return keep


def _keep(page: RoomPage, patch: SeenFlat, key: str, value: Any) -> None:
    _change(page, patch, {} if value is None else {key: value}, [key] if value is None else [])


def _change(page: RoomPage, patch: SeenFlat, values: Mapping[str, Any], gone: list[str]) -> None:
    def change() -> None:
        job = page.session.job()
        was = next(row for row in list_rows(job, "patch") if row["name"] == patch.name)
        change_row(job, "patch", patch.name, values, without=[key for key in gone if key in was])

    page.try_to(change)
