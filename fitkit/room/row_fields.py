"""Fields for the values of one row of the job, brought up to date whenever that changes."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Mapping
from typing import TYPE_CHECKING, Any, TypeAlias

from fitkit.errors import InputError
from fitkit.room.design_desk import DesignDesk
from fitkit.room.form_fields import choice, tick
from fitkit.room.kept_input import KeptInput
from fitkit.room.page import RoomPage
from fitkit.room.page_parts import box, field
from fitkit.units import parse_length_mm

if TYPE_CHECKING:
    from fitkit.workflow.design_view import LinesView
    from fitkit.workflow.edit_job import Section

__all__ = ["Do", "Row", "RowFields", "typed_length_mm"]

Do: TypeAlias = Callable[..., None]
"""Runs an act of the desk and says why when it cannot be done."""

Row: TypeAlias = Mapping[str, Any]
"""What a row of ``job.toml`` sets."""


class RowFields:
    """A card with the fields of one row; use ``box`` in a ``with`` block to fill it.

    Parameters
    ----------
    section, name
        The row.
    do
        How acts of the desk are run.
    """

    def __init__(
        self, page: RoomPage, desk: DesignDesk, do: Do, section: Section, name: str
    ) -> None:
        self.desk, self.do, self.name = desk, do, name
        self._section: Section = section
        self._shown: list[tuple[KeptInput, Callable[[Row], Any]]] = []
        self.box = box("fk-card")
        self.box._props["data-key"] = f"{section} {name}"  # its fields are of no other row

        def depends() -> tuple[object, ...]:
            return desk.now.lines, desk.now.trial is None

        page.follow(self.refresh, of=depends, within=self.box)

    @property
    def lines(self) -> LinesView:
        """The lines of the job, which are laid before there is a card."""
        assert self.desk.now.lines is not None
        return self.desk.now.lines

    def row(self) -> Row:
        """Return the row as the job has it."""
        return self.desk.now.row(self._section, self.name) or {}

    def add(self, made: KeptInput, read: Callable[[Row], Any]) -> None:
        """Have a field follow what ``read`` returns of the row."""
        self._shown.append((made, read))

    def refresh(self) -> None:
        """Show the row as it is, in place of what was typed and not kept."""
        row = self.row()
        for made, read in self._shown if row else ():
            made.show(read(row))

    def keeps(self, values: Callable[[Any], Row]) -> Callable[[Any], Awaitable[None]]:
        """Return what keeps a typed value, or puts the old one back and says why."""
        editing = self.desk.editing
        if self._section == "line":
            return self.acts(lambda text: editing.tell_line(self.name, values(text)))
        return self.acts(
            lambda text: editing.tell_row(self._section, self.name, lambda: values(text))
        )

    def acts(self, act: Callable[[Any], Awaitable[Any]]) -> Callable[[Any], Awaitable[None]]:
        """Return what does something with a typed value, or puts the old one back and says why."""

        async def told(text: Any) -> None:
            try:
                await act(text)
            finally:
                self.refresh()

        async def keep(text: Any) -> None:
            self.do(told, text)

        return keep

    def name_field(self) -> None:
        """Put the name on the page, to be changed."""
        keep = self.acts(lambda text: self.desk.editing.rename(self._section, self.name, str(text)))
        self.add(field("Name", self.name, keep), lambda row: row["name"])

    def length(self, label: str, key: str, *, hint: str = "") -> None:
        """Put a length on the page; left empty it is taken out."""

        def read(row: Row) -> str:
            return "" if row.get(key) is None else f"{row[key]:g}"

        keep = self.keeps(lambda text: {key: typed_length_mm(text, label)})
        self.add(field(label, read(self.row()), keep, hint=hint, classes="fk-short"), read)

    def number(self, label: str, key: str, *, hint: str = "") -> None:
        """Put a number without a unit of length on the page; left empty it is taken out."""

        def read(row: Row) -> str:
            return "" if row.get(key) is None else f"{row[key]:g}"

        keep = self.keeps(lambda text: {key: _typed_number(text, label)})
        self.add(field(label, read(self.row()), keep, hint=hint, classes="fk-short"), read)

    def listed(self, name: str, key: str) -> None:
        """Put a box to tick on the page for a name that a list of the row holds or not."""

        def read(row: Row) -> bool:
            return name in row.get(key, ())

        def values(wanted: Any) -> Row:
            rest = [one for one in self.row().get(key, ()) if one != name]
            return {key: ([*rest, name] if wanted else rest) or None}

        made = tick(name, read(self.row()), self.keeps(values))
        made._props["data-key"] = f"{key} {name}"
        self.add(made, read)

    def one_of(self, label: str, key: str, options: list[tuple[str, str]], *, bare: str) -> None:
        """Put a choice on the page; ``bare`` stands where nothing is set, nothing is ``""``."""

        def read(row: Row) -> str:
            value = row.get(key, bare)
            return ", ".join(value) if isinstance(value, list) else str(value)

        now = read(self.row())
        as_told = {now: self.row().get(key)}
        if now not in [value for value, _ in options]:
            options = [*options, (now, now)]
        keep = self.keeps(lambda value: {key: as_told.get(value, value) if value != "" else None})
        self.add(choice(label, now, keep, options), read)


def _typed_number(text: Any, what: str) -> float | None:
    told = str(text).strip().removesuffix("%").strip().replace(",", ".")
    if not told:
        return None
    try:
        return float(told)
    except ValueError as error:
        raise InputError(f"{what}: '{text}' is not a number.", "Write one such as 5.") from error


def typed_length_mm(text: Any, what: str) -> float | None:
    """Return a typed length, None where the field was left empty.

    Raises
    ------
    InputError
        When it is not a length.
    """
    return parse_length_mm(str(text), what=what) if str(text).strip() else None
