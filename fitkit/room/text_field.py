"""A field for text and numbers."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from nicegui.element import Element

__all__ = ["TextField"]


class TextField(Element, component="text_field.js"):
    """A field whose text is the maker's while it is typed.

    Parameters
    ----------
    value
        What it shows first.
    keep
        Called with the text once the field is left or Enter pressed.
    hint
        Shown while it is empty.
    """

    def __init__(self, value: str, keep: Callable[[str], Any], *, hint: str = "") -> None:
        super().__init__()
        self._props |= {"value": value, "placeholder": hint}
        self.on("keep", lambda event: keep(str(event.args)))

    def show(self, value: str) -> None:
        """Show another text in place of what stands there."""
        self._props["value"] = value
        self.run_method("show", value)
