"""Lists of the stop *motion*: movements, trims that are offered, what plates ride on, lames."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any

from nicegui import ui

from fitkit.findings import Finding
from fitkit.room.form_fields import choice
from fitkit.room.page import RoomPage
from fitkit.room.page_parts import box, button, field, show_findings, table, words
from fitkit.room.session import RoomSession
from fitkit.workflow.motion_wishes import keep_untrimmed, ride_on, want_angle
from fitkit.workflow.see_motion import SeenMotion, SeenRange, SeenTrim

__all__ = [
    "lame_list",
    "motion_settings",
    "movement_list",
    "movement_panel",
    "ride_list",
    "trim_list",
]

_WHOLE_DEG = 180.0
_NAMED = 2


def motion_settings(session: RoomSession) -> Mapping[str, Any]:
    """Return what the job says of motion; nothing where it cannot be read."""
    told: Mapping[str, Any] = session.settings().get("motion", {})
    return told


# -- movements -------------------------------------------------------------------------------


def movement_list(
    motion: SeenMotion | None,
    chosen: SeenRange | None,
    choose: Callable[[str], None],
) -> None:
    """Put every movement on the page: how far it is wanted and how far it goes."""
    if motion is None or not motion.ranges:
        return
    free = sum(not one.contacts for one in motion.ranges)
    words(f"{free} of {len(motion.ranges)} free", "h2")
    with box("fk-rows", "ul"):
        for one in motion.ranges:
            is_chosen = chosen is not None and one.name == chosen.name
            with box(tag="li"), ui.element("button") as row:
                row.classes("fk-choose fk-moves" + " fk-chosen" * is_chosen)
                row.props(f"aria-pressed={str(is_chosen).lower()}")
                row.on("click", lambda one=one: choose(one.name))
                words(one.name, "span", "fk-choose-title")
                _bar(one)
                reached = f"{one.free_deg:.0f}° of {one.wanted_deg:.0f}°"
                words(reached, "span", "fk-number" + " fk-is-wrong" * bool(one.contacts))


def movement_panel(page: RoomPage, one: SeenRange | None, findings: Iterable[Finding]) -> None:
    """Put what is known of one movement on the page, and how far it is wanted."""
    if one is None:
        return
    words(one.name, "h2")
    with box("fk-row"):
        if one.joint:
            _wanted(page, one)
        else:
            words(f"{one.wanted_deg:.0f}° wanted", "span")
        told = [one.because, f"{one.rest_deg:.0f}° at rest", f"free to {one.free_deg:.0f}°"]
        if one.trimmed_deg > one.free_deg + 0.05:
            told.append(f"to {one.trimmed_deg:.0f}° with the trims")
        words(", ".join(told), "p", "fk-grow fk-number")
    show_findings([one_of for one_of in findings if f" the {one.name} at " in one_of.message])
    if one.contacts:
        with box("fk-rows", "ol"):
            for number, contact in enumerate(one.contacts, start=1):
                with box("fk-row fk-one-line", "li"):
                    words(str(number), "span", "fk-touch")
                    words(
                        f"{contact.plate} on {contact.other} from {contact.angle_deg:.0f}°, "
                        f"{contact.depth_mm:.0f} mm deep at most",
                        "span",
                    )


def _wanted(page: RoomPage, one: SeenRange) -> None:
    """Put the field on the page; what the job says since goes before what was swept."""

    def now() -> str:
        degrees = motion_settings(page.session).get("wanted", {}).get(one.name, one.wanted_deg)
        return f"{degrees:.0f}"

    def keep(text: str) -> None:
        page.try_to(lambda: want_angle(page.session.job(), one.name, text))
        made.show(now())

    made = field("Wanted, degrees", now(), keep, classes="fk-angle fk-right")
    page.follow(lambda: made.show(now()), of=now, within=made)


def _bar(one: SeenRange) -> None:
    """Draw how much of the range is free, free once trimmed, and stopped."""
    whole = max(one.wanted_deg - one.rest_deg, 1e-6)
    shares = (
        ("fk-range-free", one.part(one.free_deg)),
        ("fk-range-trim", one.part(max(one.trimmed_deg, one.free_deg)) - one.part(one.free_deg)),
    )
    width = min(whole / _WHOLE_DEG, 1.0)
    with (
        box("fk-lane", "span").props("aria-hidden=true"),
        box("fk-range", "span").style(f"width: {100 * width:.0f}%"),
    ):
        for colour, share in shares:
            box(colour, "span").style(f"width: {100 * share:.1f}%")


# -- trims -----------------------------------------------------------------------------------


def trim_list(page: RoomPage, motion: SeenMotion | None) -> None:
    """Put the trims that are offered on the page, to be taken up or refused."""
    kept = motion_settings(page.session).get("keep", [])
    trims = [trim for trim in (motion.trims if motion else ()) if trim.patch not in kept]
    if not trims and not kept:
        return
    with box("fk-card"):
        words("Trims", "h2")
        if trims:
            words("The blue lines on the plates at rest.", "p", "fk-soft")
        for trim in trims:
            _trim(page, trim, able=motion is not None and motion.fresh)
        for patch in kept:
            _kept(page, patch)


def _trim(page: RoomPage, trim: SeenTrim, *, able: bool) -> None:
    session = page.session
    able = able and not session.working

    async def take() -> None:
        await page.start("take trim", f"Trimming the {trim.patch}", patch=trim.patch)

    def refuse() -> None:
        page.try_to(lambda: keep_untrimmed(session.job(), trim.patch, keep=True),
                    done=f"The {trim.patch} stays as it is.")  # fmt: skip

    with box("fk-trim"):
        words(
            f"{trim.patch}: {trim.width_mm:.0f} mm, {trim.area_mm2 / 100:.0f} cm², "
            f"{100 * trim.share:.0f} % of it",
            "p",
        )
        more = len(trim.frees) - _NAMED
        told = ", ".join(trim.frees[:_NAMED]) + f" and {more} more" * (more > 0)
        words(f"for {told}", "p", "fk-soft")
        with box("fk-row"):
            button("Take it", take, small=True, enabled=able,
                   label=f"Take the trim of the {trim.patch}")  # fmt: skip
            button("Not this plate", refuse, small=True, enabled=able,
                   label=f"Refuse the trim of the {trim.patch}")  # fmt: skip


def _kept(page: RoomPage, patch: str) -> None:
    def free() -> None:
        page.try_to(lambda: keep_untrimmed(page.session.job(), patch, keep=False))

    with box("fk-row"):
        words(f"{patch}: not to be trimmed", "span", "fk-grow")
        button("It may be", free, small=True, enabled=not page.session.working,
               label=f"The {patch} may be trimmed")  # fmt: skip


# -- what plates ride on, and lames ----------------------------------------------------------


def ride_list(page: RoomPage, motion: SeenMotion | None) -> None:
    """Put what each plate rides on, to be told otherwise."""
    if motion is None or not motion.rides:
        return
    told = motion_settings(page.session).get("rides", {})
    with box("fk-card"):
        words("What the plates are fastened to", "h2")
        with box("fk-rides"):
            for patch, segment in motion.rides.items():
                _ride(page, patch, segment, str(told.get(patch, "")), motion.segments)


def _ride(page: RoomPage, patch: str, segment: str, told: str, segments: tuple[str, ...]) -> None:
    def keep(value: str) -> None:
        page.try_to(lambda: ride_on(page.session.job(), patch, value))

    found = segment if not told else "where it lies"
    names = segments if not told or told in segments else (*segments, told)
    choice(patch, told, keep, [("", f"{found}, as found"), *((name, name) for name in names)])


def lame_list(page: RoomPage, motion: SeenMotion | None) -> None:
    """Put the rows of lames on the page, with the slots that the sweep asks of them."""
    rows = page.session.settings().get("lames", [])
    if not rows:
        return
    with box("fk-card"):
        words("Lames", "h2")
        for row in rows:
            words(f"{row['name']}: {len(row['of'])} strips over the {row['joint']}", "p")
        if motion is not None and motion.lames:
            with table(("Upper", "Under it", "Slot, mm", "Gap, mm"), right=(2, 3)):
                for one in motion.lames:
                    with box(tag="tr"):
                        words(one.upper, "th").props("scope=row")
                        words(one.lower, "td")
                        words(f"{one.slot_mm:.1f}", "td", "fk-right")
                        words(f"{one.gap_mm:.1f}", "td", "fk-right")
