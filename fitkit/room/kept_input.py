"""Fields of a form: what is typed stays while the page changes, and is kept once it is left."""

from __future__ import annotations

import html
from collections.abc import Awaitable, Callable, Sequence
from typing import Any, TypeAlias

from nicegui import events
from nicegui.element import Element

from fitkit.room.page_parts import box, words

__all__ = ["KeptInput", "choice", "slide", "tick", "typed"]

_Keep: TypeAlias = Callable[[Any], Awaitable[Any]]


class KeptInput(Element, component="kept_input.js"):
    """A field with a label.

    Parameters
    ----------
    label
        Seen above it, and its accessible name.
    value
        What it shows first.
    keep
        Called with the value once it is left or chosen.
    kind
        ``text``, ``choice``, ``tick`` or ``slide``.
    """

    def __init__(self, label: str, value: Any, keep: _Keep, *, kind: str = "text") -> None:
        super().__init__()
        self._props |= {"value": value, "shown": 0, "kind": kind}
        self._props["aria-label"] = label
        self._is = value

        async def kept(event: events.GenericEventArguments) -> None:
            self._is = event.args
            await keep(event.args)

        self.on("keep", kept)

    def show(self, value: Any) -> None:
        """Show another value, also in place of one that was typed and could not be kept."""
        if value != self._is:
            self._is = value
            self._props["value"] = value
            self._props["shown"] += 1
            self.update()


def typed(label: str, value: str, keep: _Keep, *, hint: str = "", short: bool = False) -> KeptInput:
    """Put a field for text or a number on the page."""
    with _labelled(label):
        made = KeptInput(label, value, keep)
        made._props["placeholder"] = hint
        if short:
            made.classes("fk-short")
    return made


def choice(label: str, value: str, keep: _Keep, options: Sequence[tuple[str, str]]) -> KeptInput:
    """Put a choice on the page; ``options`` are value and words."""
    with _labelled(label):
        made = KeptInput(label, value, keep, kind="choice")
        made._props["options"] = [list(option) for option in options]
    return made


def tick(label: str, value: bool, keep: _Keep) -> KeptInput:
    """Put a box to tick on the page."""
    with box("fk-ticked", "label"):
        made = KeptInput(label, value, keep, kind="tick")
        words(html.escape(label), "span")
    return made


def slide(
    label: str,
    value: float,
    lowest: float,
    highest: float,
    *,
    step: float,
    slid: _Keep,
    keep: _Keep,
) -> KeptInput:
    """Put a slider on the page; ``slid`` is called on the way, ``keep`` once it is let go."""
    with _labelled(label):
        made = KeptInput(label, value, keep, kind="slide")
        made._props |= {"lowest": lowest, "highest": highest, "step": step}

        async def sliding(event: events.GenericEventArguments) -> None:
            await slid(event.args)

        made.on("slid", sliding, throttle=0.05)
    return made


def _labelled(label: str) -> Element:
    frame = box("fk-field")
    with frame:
        words(label, "span", "fk-label").props("aria-hidden=true")
    return frame
