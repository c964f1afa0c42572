"""The stop *motion*: the joints taken through what is asked of them, plates riding along."""

from __future__ import annotations

import asyncio
from collections.abc import Hashable, Mapping

from nicegui import background_tasks, ui

from fitkit.errors import FitkitError
from fitkit.findings import Finding
from fitkit.room.form_fields import choice, slide, tick
from fitkit.room.motion_lists import (
    lame_list,
    motion_settings,
    movement_list,
    movement_panel,
    ride_list,
    trim_list,
)
from fitkit.room.page import RoomPage
from fitkit.room.page_parts import box, button, show_findings, words
from fitkit.room.session import RoomSession
from fitkit.room.step_buttons import step_buttons
from fitkit.room.stops import state_of_stop, stop_named
from fitkit.room.turning_view import turning_view
from fitkit.room.viewer import Disc, ShownLine, ShownMesh, Viewer
from fitkit.workflow.edit_settings import change_setting
from fitkit.workflow.motion_wishes import want_need
from fitkit.workflow.moving_body import MovingBody
from fitkit.workflow.see_motion import (
    PosedBody,
    SeenMotion,
    SeenRange,
    known_needs,
    pose_body,
    read_moving_body,
    see_motion,
)
from fitkit.workflow.step_edit import step_edit

__all__ = ["build"]

_PLATE, _MEETS = "#8796a0", "#e69f00"
_TRIM = "#0072b2"
_TOUCH, _TOUCH_INK = "#d55e00", "#ffffff"
_NORMS = (("AAOS", "AAOS"), ("AMA", "AMA"), ("CDC", "CDC"))
_CAUTION = (
    "A costume is not protective equipment. Try every movement slowly, with a second person by, "
    "before wearing it out: pinched skin, falls and heat are not seen here."
)


def build(page: RoomPage) -> None:
    """Fill the page."""
    session = page.session
    look = _Look(page)

    def told(*keys: str, rows: str = "") -> Hashable:
        """Return what the job says of motion; no part is built anew for less."""
        motion = motion_settings(session)
        said = [motion.get(key) for key in keys], session.settings().get(rows)
        return session.working, look.found(), str(said)

    def posed() -> Hashable:
        return look.range_name, look.revision, look.found(), look.fresh

    with box("fk-two"):
        with box("fk-card"):
            page.live(lambda: _says(look), of=posed)
            look.join(turning_view("The body in motion, with its plates"))
            page.live(lambda: _turns(look), of=posed, about=lambda: look.range_name)
        with box("fk-card fk-movements"):
            page.live(
                lambda: movement_list(look.motion, look.range, look.choose),
                of=lambda: (look.found(), look.range_name),
                about=look.found,
            )
    with box("fk-even"):
        with box("fk-card"):
            page.live(
                lambda: movement_panel(page, look.range, _all_findings(page)),
                of=lambda: (look.found(), look.range_name),
                about=lambda: look.range_name,
            )
        page.live(
            lambda: trim_list(page, look.motion),
            of=lambda: (told("keep"), look.fresh),
            about=lambda: (look.found(), str(motion_settings(session).get("keep"))),
        )
        page.live(lambda: _wishes(page, look), of=lambda: told("needs", "norms", rows="need"))
        page.live(lambda: ride_list(page, look.motion), of=lambda: told("rides"), about=look.found)
        page.live(lambda: lame_list(page, look.motion), of=lambda: told(rows="lames"))
        page.live(lambda: _caution(page), of=look.found)


class _Look:
    """Which range this page looks at, how far along it, and what is to be seen there."""

    def __init__(self, page: RoomPage) -> None:
        self._page = page
        self._session: RoomSession = page.session
        self._viewer: Viewer | None = None
        self._moving: MovingBody | None = None
        self._moving_of: Hashable = None
        self._wanted: float | None = None
        self._posing = False
        self._chosen = ""
        self.part = 1.0
        self.fault: FitkitError | None = None
        self.revision = 0

    def found(self) -> Hashable:
        """Return what changes with what the last sweep found."""
        return self._session.folder, self._session.versions("motion")

    @property
    def fresh(self) -> bool:
        """Whether what it found is of the job as it is now."""
        return self.motion is not None and self.motion.fresh

    @property
    def motion(self) -> SeenMotion | None:
        """What the last sweep found."""
        session = self._session
        try:
            return session.seen("motion", session.revision, lambda: see_motion(session.job()))
        except FitkitError:
            return None  # which the step's own state tells

    @property
    def range(self) -> SeenRange | None:
        """The chosen range; the one that is stopped first of all if none is."""
        ranges = self.motion.ranges if self.motion else ()
        named = {one.name: one for one in ranges}
        if self._chosen in named:
            return named[self._chosen]
        return min(ranges, key=lambda one: one.part(one.free_deg), default=None)

    @property
    def range_name(self) -> str:
        """The name of the chosen range; empty where there is none."""
        return self.range.name if self.range else ""

    def choose(self, name: str) -> None:
        """Look at the end of a range."""
        self._chosen = name
        self.turn(1.0)
        # Whoever chose it farther down a narrow page sees it.
        ui.run_javascript(
            "document.querySelector('.fk-view-box').scrollIntoView({block: 'nearest'})"
        )

    def turn(self, part: float) -> None:
        """Look at another part of the range, 0 at rest to 1 at its end."""
        self.part = part
        self._has_changed()
        self._pose_soon()

    def _has_changed(self) -> None:
        self.revision += 1
        self._page.look_soon()

    async def slid(self, percent: float) -> None:
        """Follow the slider."""
        self.part = float(percent) / 100.0
        await self._pose()

    def join(self, viewer: Viewer) -> None:
        """Let a view show the pose."""
        self._viewer = viewer
        session = self._session
        self._page.follow(
            self._pose_soon, of=lambda: (session.revision, session.folder), within=viewer
        )
        self._pose_soon()

    def _pose_soon(self) -> None:
        background_tasks.create(self._pose())

    async def _pose(self) -> None:
        """Show the pose; of those that are wanted meanwhile the last is shown next."""
        self._wanted = self.part
        if self._posing or self._viewer is None:
            return
        self._posing = True
        try:
            while self._wanted is not None:
                part, self._wanted = self._wanted, None
                was, self.fault = self.fault, None
                try:
                    await self._show(part)
                except FitkitError as error:
                    self.fault = error
                if self.fault is not was:
                    self._has_changed()
        finally:
            self._posing = False

    async def _show(self, part: float) -> None:
        session = self._session
        motion, chosen = self.motion, self.range
        of = (session.folder, session.versions("body", "patches", "motion"), self.fresh)
        if of != self._moving_of:
            self._moving_of = self._moving = None  # where it cannot be read it is tried again
            self._moving = await asyncio.to_thread(read_moving_body, session.job())
            self._moving_of = of
            self._has_changed()
        if self._moving is None or self._viewer is None:
            return
        if not self.fresh:
            chosen, part = None, 0.0  # what was found is of other plates
        posed = await asyncio.to_thread(pose_body, self._moving, chosen, part)
        _show_posed(self._viewer, posed, motion if part == 0.0 else None)


def _show_posed(viewer: Viewer, posed: PosedBody, motion: SeenMotion | None) -> None:
    """Show a pose: plates that meet in orange, where they do as numbered places."""
    meet = {name for contact, _ in posed.touches for name in (contact.plate, contact.other)}
    meshes = [ShownMesh("the body", posed.body)]
    for name, mesh in posed.plates.items():
        colour = _MEETS if name in meet else _PLATE
        meshes.append(ShownMesh(name, mesh, colour=colour, lift=1))
    viewer.show_meshes(meshes)
    discs = []
    for number, (contact, at_mm) in enumerate(posed.touches, start=1):
        x, y, z = at_mm.round(1).tolist()
        name = f"{contact.plate} on {contact.other}"
        discs.append(Disc(name, (x, y, z), str(number), _TOUCH, _TOUCH_INK, sizePx=28, over=True))
    viewer.show_discs(discs)
    trims = motion.trims if motion is not None and motion.fresh else ()
    viewer.show_lines(
        ShownLine(f"trim of the {trim.patch} {number}", line, colour=_TRIM)
        for trim in trims
        for number, line in enumerate(trim.lines_mm)
        if len(line) > 1
    )


def _says(look: _Look) -> None:
    if look.fault is not None:
        words(f"{look.fault.cause} {look.fault.remedy}", "p", "fk-wrong-words")
    motion, chosen = look.motion, look.range
    if motion is None:
        words("Every joint is turned through what is asked of it, and the plates with it.", "p",
              "fk-soft")  # fmt: skip
    elif not motion.fresh:
        words("Something has changed since the joints were moved: move them again.", "p")
    elif chosen is None:
        words("Nothing is asked of the joints that this body shows.", "p")
    else:
        stopped = chosen.contacts[0] if chosen.contacts else None
        if stopped is None:
            told = f"free to {chosen.free_deg:.0f}°, all that is wanted"
        else:
            told = (
                f"{chosen.free_deg:.0f}° of {chosen.wanted_deg:.0f}°: the {stopped.plate} on "
                f"{_the(stopped.other)}"
            )
        words(f"{chosen.name}, {told}", "p", "fk-number")


def _the(name: str) -> str:
    return name if name.startswith("the ") else f"the {name}"


def _turns(look: _Look) -> None:
    """Offer the places along the range that matter, and a slider for those between."""
    chosen, motion = look.range, look.motion
    if chosen is None or motion is None or not motion.fresh:
        return
    places = [("At rest", 0.0)]
    if chosen.contacts:
        places.append(("First touch", chosen.part(chosen.free_deg)))
    places.append(("At the end", 1.0))
    with box("fk-row").props('role=group aria-label="How far the joint is turned"'):
        for title, part in places:
            button(
                f"{title}, {chosen.angle_deg(part):.0f}°",
                lambda part=part: look.turn(part),
                small=True,
                first=abs(look.part - part) < 1e-9,
            )
    slide("Between them", round(100 * look.part), 0, 100, step=1, slid=look.slid, keep=look.slid)


# -- beside it -------------------------------------------------------------------------------


def _wishes(page: RoomPage, look: _Look) -> None:
    """Ask what the wearer wants to do."""
    session = page.session
    told = motion_settings(session)
    try:
        needs = known_needs(session.job(), look.motion)
    except FitkitError:
        return
    if not told:
        return  # it could not be read a moment ago, which the head of the page tells

    async def step(back: bool) -> None:
        page.try_to(lambda: step_edit(session.job(), back=back))

    with box("fk-card"):
        words("What is to be done in it?", "h2")
        with box("fk-ticks"):
            for need in needs:
                _need(page, need.name, need.takes, need.wanted, need.missing)
        if not any(need.wanted for need in needs):
            words("Without any of them, every movement is held against what is normal for a bare "
                  "body.", "p", "fk-soft")  # fmt: skip
        choice("Norms of", told["norms"], lambda value: _norms(page, value), _NORMS)
        step_buttons(page, step)


def _need(
    page: RoomPage, name: str, takes: Mapping[str, float], wanted: bool, missing: tuple[str, ...]
) -> None:
    def keep(value: object) -> None:
        page.try_to(lambda: want_need(page.session.job(), name, wanted=bool(value)))

    told = ", ".join(f"{movement} {degrees:.0f}°" for movement, degrees in takes.items())
    with box():
        tick(name.capitalize(), wanted, keep)
        if missing:
            words(f"this body shows no {' or '.join(missing)}", "div", "fk-soft")
        elif wanted:
            words(told, "div", "fk-soft")


def _norms(page: RoomPage, source: str) -> None:
    page.try_to(
        lambda: change_setting(page.session.job(), "motion", "norms", source,
                               words=f"norms of {source}")
    )  # fmt: skip


def _all_findings(page: RoomPage) -> tuple[Finding, ...]:
    return state_of_stop(stop_named("motion"), page.session).findings


def _caution(page: RoomPage) -> None:
    with box("fk-card"):
        words("Before anybody wears it out", "h2")
        words(_CAUTION, "p")
        findings = _all_findings(page)
        if findings:
            with box("fk-notes", "details"):
                words(f"All that was found: {len(findings)}", "summary")
                show_findings(findings)
