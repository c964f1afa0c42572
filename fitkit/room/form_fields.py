"""Labelled fields beside the one for text: choices, boxes to tick, sliders."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from nicegui import events

from fitkit.room.kept_input import KeptInput
from fitkit.room.page_parts import box, labelled, words

__all__ = ["choice", "slide", "tick"]


def choice(
    label: str, value: str, keep: Callable[[Any], Any], options: Sequence[tuple[str, str]]
) -> KeptInput:
    """Put a choice on the page; ``options`` are value and words."""
    made = labelled(label, lambda: KeptInput(value, keep, kind="choice"))
    made._props["options"] = [list(option) for option in options]
    return made


def tick(label: str, value: bool, keep: Callable[[Any], Any]) -> KeptInput:
    """Put a box to tick on the page."""
    with box("fk-ticked", "label"):
        made = KeptInput(value, keep, kind="tick")
        made._props["data-key"] = label
        words(label, "span")
    return made


def slide(
    label: str,
    value: float,
    lowest: float,
    highest: float,
    *,
    step: float,
    slid: Callable[[Any], Any],
    keep: Callable[[Any], Any],
) -> KeptInput:
    """Put a slider on the page; ``slid`` is called on the way, ``keep`` once it is let go."""
    made = labelled(label, lambda: KeptInput(value, keep, kind="slide"))
    made._props |= {"lowest": lowest, "highest": highest, "step": step}

    async def sliding(event: events.GenericEventArguments) -> None:
        await slid(event.args)

    made.on("slid", sliding, throttle=0.05)
    return made
