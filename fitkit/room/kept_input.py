"""A field whose text, choice or number is the maker's until it is left, whatever else changes."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Literal

from nicegui import events
from nicegui.element import Element

__all__ = ["KeptInput"]


class KeptInput(Element, component="kept_input.js"):
    """A field without a label of its own.

    Parameters
    ----------
    value
        What it shows first.
    keep
        Called, and awaited where it can be, with the value once it is left or chosen.
    note
        Of a field that is filled in before anything is done with it: called with the value first,
        and again when the field is built anew, so that it is not forgotten meanwhile.
    kind
        What it is filled in by.
    hint
        Shown while it is empty.
    """

    def __init__(
        self,
        value: Any,
        keep: Callable[[Any], Any],
        *,
        note: Callable[[Any], None] | None = None,
        kind: Literal["text", "choice", "tick", "slide"] = "text",
        hint: str = "",
    ) -> None:
        super().__init__()
        self._props |= {"value": value, "shown": 0, "kind": kind, "placeholder": hint}
        self._is = self._built = value
        self._note = note

        def kept(event: events.GenericEventArguments) -> Any:
            # At once and not in a task: a button that is pressed next counts on it.
            self._is = event.args
            if note is not None:
                note(event.args)
            return keep(event.args)

        self.on("keep", kept)

    def take_over(self, other: KeptInput) -> None:
        """Go on in the place of another in the browser, with what is half typed there."""
        if self._note is not None and self._built == other._built:
            self._is = self._props["value"] = other._is
            self._note(other._is)
        changed = self._is != other._is
        self._props["shown"] = other._props["shown"] + changed

    def show(self, value: Any) -> None:
        """Show another value, also in place of one that was typed and could not be kept."""
        if value != self._is:
            self._is = value
            self._props["value"] = value
            self._props["shown"] += 1
            self.update()
