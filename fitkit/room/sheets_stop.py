"""The stop *sheets*: the stock there is, and whether the parts fit on it."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial
from typing import Any

from nicegui import ui

from fitkit.errors import FitkitError
from fitkit.room.made_routes import made_address
from fitkit.room.page import RoomPage
from fitkit.room.page_parts import (
    box,
    button,
    download,
    draft,
    field,
    mark,
    show_findings,
    table,
    words,
)
from fitkit.room.sheet_view import SheetView
from fitkit.room.stops import state_of_stop, stop_named
from fitkit.sheets.nesting import Nesting, PlacedPart
from fitkit.units import parse_length_mm
from fitkit.workflow.edit_settings import change_setting, read_job_settings
from fitkit.workflow.edit_stock import add_stock, remove_stock
from fitkit.workflow.move_part import layout_as_pinned, move_part
from fitkit.workflow.nest_job import pin_part, release_part, sums_of_layout

__all__ = ["build"]


def build(page: RoomPage) -> None:
    """Fill the page."""
    with box("fk-two"):
        with box():
            page.live(lambda: _layout(page))
        with box():
            page.live(lambda: _stock(page))


def _seen(page: RoomPage) -> Nesting | None:
    session = page.session
    if not session.made("sheets"):
        return None
    try:
        return session.seen("layout", session.revision, lambda: layout_as_pinned(session.job()))
    except FitkitError:
        return None  # which the step's own state tells


# -- the layout ------------------------------------------------------------------------------


def _layout(page: RoomPage) -> None:
    session, layout = page.session, _seen(page)
    with box("fk-card"):
        words("On the sheets", "h2")
        if layout is None:
            words(
                "Nothing is laid out yet. Say what stock there is; without any, sizes as sold "
                "are taken. The templates come first.",
                "p",
                "fk-soft",
            )
            return
        _does_it_fit(layout)
        words(session.seen("sums", session.revision, lambda: sums_of_layout(session.job())), "p")
        show_findings(state_of_stop(stop_named("sheets"), session).findings)
        with box("fk-row"):
            button(
                "Look for a better one",
                lambda: page.start("nest", "Laying out on the sheets"),
                enabled=not session.working,
            )
            for name, told in (
                ("layouts.pdf", "Save the layouts"),
                ("tags.pdf", "Save the tags to stick on"),
                ("cut-list.csv", "Save the cut list"),
            ):
                address = made_address(session, "sheets", name, save=True)
                if address is not None:
                    download(told, address)
        for sheet in layout.sheets:
            words(f"{sheet.title}: {100 * sheet.utilisation:.0f} % becomes parts", "h3")
            SheetView(sheet, moved=partial(_move, page))
        words(
            "Drag a part, or take it with Tab and move it by the arrow keys; R turns it. Where it "
            "is put it stays when the rest is laid out again.",
            "p",
            "fk-soft",
        )
        _places(page, layout)


def _does_it_fit(layout: Nesting) -> None:
    with box("fk-row"):
        mark("wrong" if layout.left_out else "done",
             "fk-is-wrong" if layout.left_out else "fk-is-done")  # fmt: skip
        placed, sheets = len(layout.placed()), len(layout.sheets)
        if layout.left_out:
            names = ", ".join(part.title for part in layout.left_out)
            words(f"It does not fit: no room for {names}.", "p")
        else:
            parts = f"{placed} part{'s' * (placed != 1)}"
            words(f"It fits: {parts} on {sheets} sheet{'s' * (sheets != 1)}.", "p")


def _move(page: RoomPage, part: str, by_mm: tuple[float, float], turn_deg: float) -> None:
    page.try_to(
        lambda: move_part(page.session.job(), part, by_mm=by_mm, turn_deg=turn_deg, kept_on=True),
        done=f"{part} stays there. Lay out again for the rest.",
    )


def _places(page: RoomPage, layout: Nesting) -> None:
    """List the parts with their places as numbers, to be moved, turned, pinned and let go."""
    with table(("", "Part", "From left, mm", "Up, mm", "", ""), right=(2, 3)):
        for sheet in layout.sheets:
            for placed in sheet.placed:
                with box(tag="tr"):
                    _place(page, placed)


def _place(page: RoomPage, placed: PlacedPart) -> None:
    job, title = page.session.job(), placed.part.title
    corner = placed.outline_mm().min(axis=0)

    def keep(axis: int, text: str) -> None:
        def change() -> None:
            by = [0.0, 0.0]
            by[axis] = parse_length_mm(text, what="place") - float(corner[axis])
            move_part(job, title, by_mm=(by[0], by[1]))

        page.try_to(change)

    words(str(placed.part.number), "td", "fk-right")
    words(title, "th").props("scope=row")
    for axis, side in enumerate(("from the left", "up")):
        with box("fk-right", "td"):
            field(f"{title}, mm {side}", f"{corner[axis]:.0f}", partial(keep, axis),
                  classes="fk-short", shown=False)  # fmt: skip
    with box(tag="td"):
        button("Turn", partial(_move, page, title, (0.0, 0.0), 90.0), small=True,
               label=f"Turn {title} by a quarter")  # fmt: skip
    with box(tag="td"):
        told = "Let go" if placed.pinned else "Pin"
        act = partial(release_part, job, title) if placed.pinned else partial(pin_part, job, title)
        button(told, partial(page.try_to, act), small=True, label=f"{told}: {title}")


# -- the stock -------------------------------------------------------------------------------


def _stock(page: RoomPage) -> None:
    try:
        settings = read_job_settings(page.session.job())
    except FitkitError as error:
        words(f"{error.cause} {error.remedy}", "p")
        return
    with box("fk-card"):
        words("Stock", "h2")
        if settings["stock"]:
            with table(("", "Size, mm", "Have", ""), right=(1, 2)):
                for row in settings["stock"]:
                    _row(page, row)
        else:
            words("No sheets are told yet.", "p", "fk-soft")
        _gap(page, settings["nest"])
    _new_row(page, settings)


def _row(page: RoomPage, row: dict[str, Any]) -> None:
    size = row["size_mm"]
    told = f"{size[0]:g} × {size[1]:g}" if size else "offcut"
    with box(tag="tr"):
        words(row["name"], "th").props("scope=row")
        words(told, "td", "fk-right")
        words("to buy" if row["to_buy"] else str(row["quantity"]), "td", "fk-right")
        with box(tag="td"):
            gone = partial(remove_stock, page.session.job(), row["name"])
            button("Take out", partial(page.try_to, gone), small=True,
                   label=f"Take {row['name']} out of the stock")  # fmt: skip


def _gap(page: RoomPage, nest: dict[str, Any]) -> None:
    def keep(key: str, what: str, text: str) -> None:
        page.try_to(
            lambda: change_setting(
                page.session.job(), "nest", key, parse_length_mm(text), words=what
            )
        )

    with box("fk-row"):
        field("Gap between parts, mm", f"{nest['gap_mm']:g}",
              partial(keep, "gap_mm", "gap between parts"), classes="fk-short")  # fmt: skip
        field("From the edge, mm", f"{nest['margin_mm']:g}",
              partial(keep, "margin_mm", "margin of the sheets"), classes="fk-short")  # fmt: skip


def _new_row(page: RoomPage, settings: Mapping[str, Any]) -> None:
    """Offer to add a sheet of something that a part of the job is made of."""
    wanted = {(patch["material"], patch["thickness_mm"]) for patch in settings["patch"]}
    held = {(row["material"], row["thickness_mm"]) for row in settings["stock"]}
    first = next(iter(sorted(wanted - held) or sorted(wanted)), ("card", 0.5))
    told = {
        "material": first[0],
        "thickness": f"{first[1]:g}",
        "length": "",
        "width": "",
        "have": "1",
    }

    def add(*, to_buy: bool) -> None:
        def change() -> None:
            size = [parse_length_mm(told[side], what=side) for side in ("length", "width")]
            thickness = parse_length_mm(told["thickness"], what="thickness")
            values: dict[str, Any] = {
                "material": told["material"].strip(),
                "thickness_mm": thickness,
                "size_mm": size,
            }
            how_many = told["have"].strip()
            values |= {"to_buy": True} if to_buy else {"quantity": int(how_many or "1")}
            add_stock(page.session.job(), values)

        if not told["have"].strip().isdigit():
            ui.notify("Say how many there are as a number.", type="warning")
            return
        page.try_to(change)

    with box("fk-card") as card:
        card._props["data-key"] = (
            f"a sheet beside {len(settings['stock'])}"  # empty again once it is added
        )
        words("Add a sheet", "h2")
        labels = (
            ("material", "Material"),
            ("thickness", "Thickness, mm"),
            ("length", "Length, mm"),
            ("width", "Width, mm"),
            ("have", "How many"),
        )
        with box("fk-row"):
            for key, label in labels:
                draft(label, told, key, classes="" if key == "material" else "fk-short")
        with box("fk-row"):
            button("Add what I have", partial(add, to_buy=False))
            button("Add a size to buy", partial(add, to_buy=True))
