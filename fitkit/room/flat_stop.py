"""The stop *flat*: each plate on the body beside its blank, and what other ways would ask."""

from __future__ import annotations

from nicegui import ui

from fitkit.errors import FitkitError
from fitkit.room.flat_wishes import blank_wishes, cut_wishes
from fitkit.room.made_routes import made_address
from fitkit.room.page import RoomPage
from fitkit.room.page_parts import box, button, picture, show_findings, table, words
from fitkit.room.session import RoomSession
from fitkit.room.turning_view import turning_view
from fitkit.room.viewer import ShownMesh, Viewer
from fitkit.workflow.cut_job import adopt_choice, take_out_cuts
from fitkit.workflow.edit_job import change_row
from fitkit.workflow.pick_place import Ray, first_mesh_hit
from fitkit.workflow.see_body import SeenBody, see_body
from fitkit.workflow.see_flat import SeenFlat, see_flat

__all__ = ["build"]

_OTHER_PLATE = "#8796a0"
_WAYS = {
    "roll": "bend only",
    "dish": "dish: stretch the middle",
    "raise": "raise: shrink the rim",
    "balanced": "dish and raise alike",
    "soft": "ease on",
}


def build(page: RoomPage) -> None:
    """Fill the page."""
    chosen = _Chosen(page)
    page.live(lambda: _patches(chosen), of=lambda: (page.session.revision, chosen.name))
    with box("fk-two"):
        with box():
            _on_the_body(page, chosen)
            with box("fk-even fk-late"):
                page.live(
                    lambda: _other_ways(page, chosen),
                    of=lambda: (page.session.revision, page.session.working, chosen.name),
                    about=lambda: chosen.name,
                )
        with box():
            page.live(lambda: _blank(page, chosen), of=lambda: (page.session.revision, chosen.name))


class _Chosen:
    """The patch that this page looks at."""

    def __init__(self, page: RoomPage) -> None:
        self._page = page
        self._name = ""
        self.viewer: Viewer | None = None

    def turn_to(self, patch: SeenFlat) -> None:
        """Choose a patch and look at it from its side."""
        self.name = patch.name
        if self.viewer is not None:
            self.viewer.look(patch.side)

    @property
    def name(self) -> str:
        patch = self.patch
        return patch.name if patch else ""

    @name.setter
    def name(self, name: str) -> None:
        self._name = name
        self._page.look_soon()

    @property
    def all(self) -> tuple[SeenFlat, ...]:
        session = self._page.session
        # What it is made of and how it is cut is read from the job itself.
        depends = session.versions("blanks", "templates"), str(session.settings().get("patch"))
        try:
            return session.seen("flat", depends, lambda: see_flat(session.job()))
        except FitkitError:
            return ()

    @property
    def patch(self) -> SeenFlat | None:
        """The chosen patch, or the one that asks most of its sheet."""
        patches = {patch.name: patch for patch in self.all}
        if self._name in patches:
            return patches[self._name]
        return max(patches.values(), key=lambda patch: patch.demand.over, default=None)


def _patches(chosen: _Chosen) -> None:
    if not chosen.all:
        words("Nothing is laid flat yet: draw lines and patches first.", "p", "fk-soft")
        return
    with box("fk-choices").props('role=group aria-label="Patches"'):
        for patch in chosen.all:
            with ui.element("button").classes("fk-choice") as choice:
                choice.props(f"aria-pressed={'true' if patch.name == chosen.name else 'false'}")
                choice.on("click", lambda patch=patch: chosen.turn_to(patch))
                words(patch.name, classes="fk-station-title")
                words(_asked(patch), classes="fk-number" + " fk-is-wrong" * (patch.demand.over > 1))


def _asked(patch: SeenFlat) -> str:
    most = max(patch.demand.most - 1.0, 1.0 - patch.demand.least)
    words_of = "bends" if patch.demand.only_bent else f"gives {100 * most:.1f} %"
    return words_of + (", too much" if patch.demand.over > 1 else "")


# -- on the body -----------------------------------------------------------------------------


def _on_the_body(page: RoomPage, chosen: _Chosen) -> None:
    session = page.session
    with box("fk-card"):
        words("On the body", "h2")
        viewer = turning_view("The plates on the body, coloured by what the sheet must give")
        chosen.viewer = viewer
        words("Orange must stretch, purple must shrink, grey stays. Tap a plate to see its blank.",
              "p", "fk-soft")  # fmt: skip

    def show() -> None:
        body = session.seen("body", session.versions("body"), lambda: _body(session))
        meshes = [ShownMesh("the body", body.mesh)] if body else []
        for patch in chosen.all:
            # Only the chosen plate is coloured: each has a scale of its own, as in its picture.
            rgb = patch.colours if patch.name == chosen.name else None
            meshes.append(ShownMesh(patch.name, patch.mesh, colour=_OTHER_PLATE, rgb=rgb, lift=1))
        viewer.show_meshes(meshes)

    async def picked(ray: Ray) -> None:
        name = _first_hit(chosen, ray)
        if name:
            chosen.name = name

    viewer.on_pick(picked)
    show()
    page.follow(
        show,
        of=lambda: (
            session.versions("body", "blanks"),
            chosen.name,
            tuple(patch.name for patch in chosen.all),
        ),
        within=viewer,
    )


def _body(session: RoomSession) -> SeenBody | None:
    try:
        return see_body(session.job())
    except FitkitError:
        return None


def _first_hit(chosen: _Chosen, ray: Ray) -> str | None:
    return first_mesh_hit({patch.name: patch.mesh for patch in chosen.all}, ray)


# -- the blank -------------------------------------------------------------------------------


def _blank(page: RoomPage, chosen: _Chosen) -> None:
    patch = chosen.patch
    if patch is None:
        return
    session, demand = page.session, patch.demand
    with box("fk-card"):
        words(f"{patch.name}, laid flat", "h2")
        words(patch.sheet, "p", "fk-soft")
        strain = made_address(session, "blanks", patch.strain_file)
        if strain is not None:
            picture(strain, f"Where the sheet of the {patch.name} must stretch or shrink")
        with table(("", ""), right=(1,)):
            for name, value in (
                ("most stretch", f"{100 * (demand.most - 1):+.1f} %"),
                ("most shrink", f"{100 * (demand.least - 1):+.1f} %"),
                ("thinnest", f"{demand.thinnest_mm:.2f} mm"),
                ("blank against plate", f"{100 * (demand.size - 1):+.1f} %"),
                ("anneals", "" if demand.anneals is None else str(demand.anneals)),
                ("of what the sheet bears", f"{100 * demand.over:.0f} %"),
            ):
                if value:
                    with box(tag="tr"):
                        words(name, "th").props("scope=row")
                        words(value, "td", "fk-right")
        show_findings(patch.findings, place=False)
        for name in patch.templates:
            template = made_address(session, "templates", name)
            if template is not None:
                picture(template, f"Template {name.removesuffix('.png')}")


# -- other ways ------------------------------------------------------------------------------


def _other_ways(page: RoomPage, chosen: _Chosen) -> None:
    patch = chosen.patch
    if patch is None:
        return
    _forming(page, patch)
    blank_wishes(page, patch)
    _cuts(page, patch)


def _forming(page: RoomPage, patch: SeenFlat) -> None:
    session = page.session
    tried = session.answer("try forming")
    with box("fk-card"):
        words("Ways to form it", "h2")
        if tried.get("patch") != patch.name:
            words("Each way has a blank of its own size.", "p", "fk-soft")
        else:
            with table(("", "Blank, mm", "Stretch", "Shrink", "Thinnest", "Anneals", ""),
                       right=range(1, 6)):  # fmt: skip
                for way in tried["ways"]:
                    _way(page, patch, way)
        button(
            "Try them side by side",
            lambda: page.start("try forming", f"Trying ways for {patch.name}", patch=patch.name),
            enabled=not session.working,
        )


def _way(page: RoomPage, patch: SeenFlat, way: dict[str, object]) -> None:
    forming, anneals = str(way["forming"]), way["anneals"]

    def take() -> None:
        page.try_to(
            lambda: change_row(page.session.job(), "patch", patch.name, {"forming": forming}),
            done=f"{patch.name}: {_WAYS[forming]}. Lay it flat again.",
        )

    numbers = (
        "{width_mm:.0f} × {height_mm:.0f}".format_map(way),
        f"{100 * (float(str(way['most'])) - 1):+.1f} %",
        f"{100 * (float(str(way['least'])) - 1):+.1f} %",
        "{thinnest_mm:.2f}".format_map(way),
        "" if anneals is None else str(anneals),
    )
    with box(tag="tr"):
        words(_WAYS[forming], "th").props("scope=row")
        for number in numbers:
            words(number, "td", "fk-right")
        with box(tag="td"):
            if way["chosen"]:
                words("as it is", classes="fk-soft")
            else:
                button("Take", take, small=True, label=f"Take: {_WAYS[forming]}")


def _cuts(page: RoomPage, patch: SeenFlat) -> None:
    session = page.session
    shown = made_address(session, "blanks", patch.cuts_file)
    with box("fk-card"):
        words("Relief cuts", "h2")
        if shown is not None and len(patch.choices) > 1:
            picture(shown, f"What each choice of cuts buys for the {patch.name}")
        with box("fk-findings", "ul"):
            for number, choice in enumerate(patch.choices, start=1):
                if number == 1:
                    continue
                length = f", {choice.length_mm:.0f} mm to cut" if choice.length_mm else ""

                def take(number: int = number) -> None:
                    page.try_to(lambda: adopt_choice(session.job(), patch.name, number),
                                done="Taken up: lay it flat again.")  # fmt: skip

                with box("fk-row", "li"):
                    words(f"{number}  {choice.in_words()}{length}", "span", "fk-grow fk-number")
                    button("Take", take, small=True, enabled=not session.working,
                           label=f"Take choice {number}: {choice.name}")  # fmt: skip
        if len(patch.choices) < 2:
            words("The sheet bears it in one piece.", "p", "fk-soft")
        if patch.has_cuts:
            button("Without cuts",
                   lambda: page.try_to(lambda: take_out_cuts(session.job(), patch.name)),
                   small=True)  # fmt: skip
        cut_wishes(page, patch)
