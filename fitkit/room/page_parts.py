"""Parts that every stop is built of: words with their tag, marks, findings, buttons, pictures."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Iterable, MutableMapping, Sequence
from functools import partial
from typing import Any

from nicegui import ui
from nicegui.elements.mixins.text_element import TextElement

from fitkit.findings import Finding, Severity
from fitkit.room.kept_input import KeptInput

__all__ = [
    "box",
    "button",
    "download",
    "draft",
    "field",
    "labelled",
    "mark",
    "picture",
    "show_findings",
    "table",
    "words",
]

# One outline a state, told apart without colour.
_MARKS = {
    "done": '<circle cx="12" cy="12" r="10" fill="currentColor" opacity=".16"/>'
    '<path d="M6 12.5l4.2 4.2L18.5 8" fill="none" stroke="currentColor" stroke-width="3"/>',
    "open": '<circle cx="12" cy="12" r="8.5" fill="none" stroke="currentColor" '
    'stroke-width="2.5"/>',
    "going": '<circle cx="12" cy="12" r="8.5" fill="none" stroke="currentColor" '
    'stroke-width="2.5"/><path d="M12 3.5a8.5 8.5 0 0 1 0 17z" fill="currentColor"/>',
    "stale": '<path d="M19 12a7 7 0 1 1-2.2-5.1" fill="none" stroke="currentColor" '
    'stroke-width="2.8"/><path d="M20 2.5v6h-6z" fill="currentColor"/>',
    "wrong": '<path d="M8 2h8l6 6v8l-6 6H8l-6-6V8z" fill="currentColor"/>'
    '<path d="M12 6.5v7m0 2.2v2.6" stroke="var(--fk-card)" stroke-width="2.8"/>',
    "warning": '<path d="M12 2.5L23 21.5H1z" fill="currentColor"/>'
    '<path d="M12 9v6m0 1.6v2.4" stroke="var(--fk-card)" stroke-width="2.6"/>',
    "note": '<circle cx="12" cy="12" r="10" fill="none" stroke="currentColor" stroke-width="2"/>'
    '<path d="M12 10.5v7m0-11.5v2.6" stroke="currentColor" stroke-width="2.6"/>',
    "none": '<path d="M5 12h14" stroke="currentColor" stroke-width="2.5"/>',
}
_NOTES_SHOWN = 2
_MARK_OF_SEVERITY = {
    Severity.STOP: ("wrong", "fk-stop-finding", "Do not go on"),
    Severity.WARNING: ("warning", "fk-warning", "Look at this"),
    Severity.NOTE: ("note", "", "Note"),
}


def words(text: str, tag: str = "div", classes: str = "") -> TextElement:
    """Put text on the page in a tag of its own."""
    return TextElement(tag=tag, text=text).classes(classes)


def box(classes: str = "", tag: str = "div") -> ui.element:
    """Put a box on the page; use it in a ``with`` block."""
    return ui.element(tag).classes(classes)


def mark(kind: str, classes: str = "") -> None:
    """Put a mark on the page; whatever stands beside it says the same in words."""
    drawing = f'<svg viewBox="0 0 24 24" aria-hidden="true">{_MARKS[kind]}</svg>'
    ui.html(drawing, sanitize=False, tag="span").classes(f"fk-mark {classes}")


def button(
    text: str,
    act: Callable[[], Any] | Callable[[], Awaitable[Any]],
    *,
    first: bool = False,
    small: bool = False,
    enabled: bool = True,
    label: str = "",
) -> ui.button:
    """Put a button on the page; ``label`` is what it is called where its text is not enough."""
    made = ui.button(text, on_click=act, color=None).props("no-caps unelevated")
    made.classes("fk-button" + " fk-first" * first + " fk-small" * small)
    if label:
        made._props["aria-label"] = label
    if not enabled:
        made.disable()
    return made


def draft(
    label: str, told: MutableMapping[str, str], key: str, *, classes: str = "", hint: str = ""
) -> KeptInput:
    """Put a labelled field on the page that fills in a key of what a button then takes up."""
    note = partial(told.__setitem__, key)
    return field(label, told[key], lambda _: None, classes=classes, hint=hint, note=note)


def download(text: str, address: str, *, first: bool = False) -> ui.element:
    """Put a link on the page that saves a file."""
    link = TextElement(tag="a", text=text).classes("fk-download" + " fk-first" * first)
    link._props["href"] = address
    link._props["download"] = True
    return link


def picture(address: str, says: str, *, opens: bool = True) -> None:
    """Put a picture on the page; pointed at, it opens in its full size."""
    if opens:
        frame = ui.element("a").classes("fk-frame")
        frame._props |= {"href": address, "target": "_blank", "rel": "noopener"}
    else:
        frame = ui.element("div")
    with frame:
        image = ui.element("img").classes("fk-picture")
        image._props |= {"src": address, "alt": says, "loading": "lazy"}


def field(
    label: str,
    value: str,
    keep: Callable[[str], Any],
    *,
    classes: str = "",
    hint: str = "",
    shown: bool = True,
    note: Callable[[str], None] | None = None,
) -> KeptInput:
    """Put a labelled field on the page; ``keep`` is called with the text once it is left.

    ``shown=False`` leaves the label to readers alone, where a table's head says it already;
    ``note`` is that of :class:`KeptInput`.
    """
    if shown:
        typed = labelled(label, lambda: KeptInput(value, keep, hint=hint, note=note))
    else:
        typed = KeptInput(value, keep, hint=hint, note=note)
        typed._props["aria-label"] = label
    return typed.classes(classes)


def labelled(label: str, make: Callable[[], KeptInput]) -> KeptInput:
    """Put a field on the page with its label above it."""
    with box("fk-field"):
        made = make()
        made._props |= {"id": f"fk-{made.id}", "data-key": label}
        name = words(label, "label")
        name._props["for"] = f"fk-{made.id}"
        name.move(target_index=0)
    return made


def table(head: Sequence[str], *, right: Iterable[int] = ()) -> ui.element:
    """Put a table on the page and return its body; ``right`` are columns of numbers."""
    numbers = set(right)
    with box("fk-scroll"), box("fk-table", "table"):
        with box(tag="thead"), box(tag="tr"):
            for index, text in enumerate(head):
                if text:
                    words(text, "th", "fk-right" if index in numbers else "").props("scope=col")
                else:
                    box(tag="td")  # a head without words would be read out as one
        return box(tag="tbody")


def show_findings(findings: Iterable[Finding], *, place: bool = True) -> None:
    """List findings, the gravest first; ``place`` says what each is about."""
    order = list(_MARK_OF_SEVERITY)
    rows = sorted(findings, key=lambda finding: order.index(finding.severity))
    grave = [finding for finding in rows if finding.severity is not Severity.NOTE]
    notes = rows[len(grave) :]
    _list_findings(grave, place)
    if len(notes) <= _NOTES_SHOWN:
        _list_findings(notes, place)
        return
    with box("fk-notes", "details"):
        words(f"{len(notes)} notes", "summary")
        _list_findings(notes, place)


def _list_findings(rows: Sequence[Finding], place: bool) -> None:
    if not rows:
        return
    with box("fk-findings", "ul"):
        for finding in rows:
            kind, colour, spoken = _MARK_OF_SEVERITY[finding.severity]
            with box(f"fk-finding {colour}", "li"):
                mark(kind)
                with box():
                    words(f"{spoken}: ", "span", "fk-hidden")
                    where = f"{finding.where}: " if place and finding.where else ""
                    words(f"{where}{finding.message}", "span")
                    if finding.remedy:
                        words(finding.remedy, "p", "fk-remedy")
