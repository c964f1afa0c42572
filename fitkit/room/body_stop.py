"""The stop *body*: turned about, held against the tape list, reshaped to it where it stands in."""

from __future__ import annotations

from collections.abc import Mapping

from fastapi import FastAPI
from nicegui import ui

from fitkit.errors import FitkitError
from fitkit.room.body_marks import BodyMarks
from fitkit.room.made_routes import made_address
from fitkit.room.mesh_panel import add_mesh_routes, mesh_panel, mesh_panel_key
from fitkit.room.page import RoomPage
from fitkit.room.page_parts import (
    box,
    button,
    draft,
    field,
    mark,
    picture,
    show_findings,
    table,
    words,
)
from fitkit.room.session import RoomSession
from fitkit.room.stops import state_of_stop, stop_named
from fitkit.room.turning_view import turning_view
from fitkit.room.viewer import ShownMesh
from fitkit.workflow.adapt_job import kept_adapted
from fitkit.workflow.edit_settings import change_tape, read_job_settings
from fitkit.workflow.measure_job import MeasureRow, kept_measures
from fitkit.workflow.see_body import SeenBody, see_body

__all__ = ["add_routes", "build"]

_SEEN_THROUGH = 0.45

# Where a tape list begins when nothing has been measured yet.
_FIRST_LINES = ("stature", "chest", "waist", "hip", "neck", "left upper arm")
_PARTS = ("whole body", "torso")


def build(page: RoomPage) -> None:
    """Fill the page."""
    with box("fk-two"):
        with box():
            with box("fk-card"):
                words("The body", "h2")
                _view(page)
                page.live(lambda: _about(page))
            with box("fk-even fk-late"):
                page.live(lambda: _stand_in(page))
                page.live(lambda: mesh_panel(page), of=lambda: mesh_panel_key(page.session),
                          about=lambda: mesh_panel_key(page.session))  # fmt: skip
        with box():
            page.live(lambda: _tape_list(page))


def add_routes(app: FastAPI, session: RoomSession) -> Mapping[str, int]:
    """Add the address that meshes come to."""
    return add_mesh_routes(app, session)


def _view(page: RoomPage) -> None:
    session = page.session

    def show() -> None:
        body = session.seen("body", session.versions("body"), lambda: _body(session))
        # Joints lie inside: the skin is seen through when they are shown.
        opacity = _SEEN_THROUGH if marks.kind == "joint" else 1.0
        meshes = [ShownMesh("the body", body.mesh, opacity=opacity)] if body else []
        if body and body.before and ghost.value:
            meshes.append(ShownMesh("before", body.before, colour="#0072b2", opacity=0.35, lift=1))
        viewer.show_meshes(meshes)
        before.set_visibility(bool(body and body.before))

    marks = BodyMarks(page, show)
    page.live(marks.choices, of=lambda: marks.kind)
    viewer = turning_view("The body")
    before = box("fk-row")
    with before:
        ghost = ui.checkbox("The body before, seen through", on_change=show)
    show()
    page.follow(show, of=lambda: session.versions("body"), within=viewer)
    marks.join(viewer)
    page.live(marks.panel, of=marks.panel_key, about=lambda: (marks.kind, marks.chosen))


def _body(session: RoomSession) -> SeenBody | None:
    try:
        return see_body(session.job())
    except FitkitError:
        return None  # which the step's own state tells


def _about(page: RoomPage) -> None:
    if not page.session.made("body"):
        words("There is no body yet. It comes from the photos, from the tape list alone, or from "
              "a mesh made elsewhere.", "p", "fk-soft")  # fmt: skip
    show_findings(state_of_stop(stop_named("body"), page.session).findings)


# -- the tape list ---------------------------------------------------------------------------


def _tape_list(page: RoomPage) -> None:
    session = page.session
    try:
        measures = kept_measures(session.job())
        tape = read_job_settings(session.job())["wearer"]["tape"]
    except FitkitError as error:
        words(f"{error.cause} {error.remedy}", "p")
        return
    if measures is not None:
        # What the tape list names comes first, in the list's order.
        named = [name.lower() for name in tape]
        rows = sorted(measures.rows, key=lambda row: _place(row, named))
    else:
        names = [*tape, *(name for name in _FIRST_LINES if name not in tape)]
        rows = [MeasureRow(name, None, tape.get(name)) for name in names]
    with box("fk-card"):
        words("Tape list", "h2")
        words("Taut, not tight, over what is worn under the parts. In mm, or with its unit: 98 cm.",
              "p", "fk-soft")  # fmt: skip
        with table(("", "Tape, mm", "Body, mm", "Differs"), right=(1, 2, 3)):
            for row in rows:
                _line(page, row)
        _new_line(page, len(tape))
        if measures is None and made_address(session, "body", "body.png") is not None:
            button("Lay the tape round the body",
                   lambda: page.start("measure", "Measuring the body"))  # fmt: skip


def _place(row: MeasureRow, named: list[str]) -> int:
    return named.index(row.name.lower()) if row.name.lower() in named else len(named)


def _line(page: RoomPage, row: MeasureRow) -> None:
    def keep(text: str) -> None:
        page.try_to(lambda: change_tape(page.session.job(), row.name, text))

    with box(tag="tr"):
        words(row.name, "th").props("scope=row")
        with box("fk-right", "td"):
            told = f"{row.tape_mm:.0f}" if row.tape_mm is not None else ""
            field(f"{row.name} by the tape, mm", told, keep, classes="fk-short fk-right",
                  shown=False)  # fmt: skip
        words(f"{row.body_mm:.0f}" if row.body_mm is not None else "", "td", "fk-right")
        with box("fk-right", "td"):
            if row.difference_mm is not None:
                with box("fk-verdict"):
                    words(f"{round(row.difference_mm):+d}", "span")
                    if row.verdict:
                        within = row.verdict == "within"
                        mark("done" if within else "warning",
                             "fk-is-done" if within else "fk-is-stale")  # fmt: skip
                        words(f"{row.verdict} the limit of {row.limit_mm:.0f} mm", "span",
                              "fk-hidden")  # fmt: skip


def _new_line(page: RoomPage, behind: int) -> None:
    told = {"measure": "", "length": ""}

    def add() -> None:
        if not told["length"].strip():
            ui.notify("Say what the tape reads, too.", type="warning")
            return
        page.try_to(lambda: change_tape(page.session.job(), told["measure"], told["length"]))

    with box("fk-row") as row:
        row._props["data-key"] = f"a measure behind {behind}"  # empty again once it is added
        with box("fk-grow"):
            draft("Another measure", told, "measure")
        draft("Tape reads", told, "length", classes="fk-short")
        button("Add", add, small=True, label="Add it to the tape list")


# -- the stand-in ----------------------------------------------------------------------------


def _stand_in(page: RoomPage) -> None:
    session = page.session
    try:
        settings = read_job_settings(session.job())
        adapted = kept_adapted(session.job())
    except FitkitError:
        return
    tape, has_body = settings["wearer"]["tape"], bool(session.made("body"))
    if has_body:
        with box("fk-card"):
            words("A stand-in in the wearer's place?", "h2")
            if settings["body"]["adapt"]:
                words("The body is reshaped to the tape list.", "p")
                button(
                    "Take the body as it was found",
                    lambda: page.start("adapt", "Going back to the body as found", wanted=False),
                )
            else:
                words("Then reshape its body to the wearer's tape list.", "p", "fk-soft")
                button(
                    "Reshape to the tape list",
                    lambda: page.start("adapt", "Reshaping the body"),
                    enabled=bool(tape) and not session.working,
                )
            if adapted:
                _before_after(page)
    if not settings["body"]["from_mesh"] and not session.made("scan"):
        _from_tape_alone(page, able=bool(tape))


def _before_after(page: RoomPage) -> None:
    shown = made_address(page.session, "body", "adapted.png")
    if shown is not None:
        picture(shown, "The body before and after, and how far each place moved")
    with table(("", "Wanted", "Before", "After", "Off"), right=(1, 2, 3, 4)):
        for row in kept_adapted(page.session.job()):
            with box(tag="tr"):
                words(row.name, "th").props("scope=row")
                for length in (row.wanted_mm, row.before_mm, row.after_mm):
                    words(f"{length:.1f}", "td", "fk-right")
                words(f"{row.off_mm:+.1f}", "td", "fk-right")


def _from_tape_alone(page: RoomPage, *, able: bool) -> None:
    with box("fk-card"):
        words("No photos at all?", "h2")
        words("A stand-in is built from the tape list; a survey fills in what the list leaves out.",
              "p", "fk-soft")  # fmt: skip
        for sizes in ("women", "men"):
            with box("fk-row"):
                for part in _PARTS:
                    button(
                        f"{part.capitalize()}, {sizes}'s sizes",
                        lambda sizes=sizes, part=part: page.start(
                            "body from tape", "Building a stand-in", sizes=sizes, part=part
                        ),
                        small=True,
                        enabled=able and not page.session.working,
                    )
