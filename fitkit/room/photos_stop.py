"""The stop *photos*: dropped in, looked at, scanned, and what the scan made of each."""

from __future__ import annotations

import asyncio
from collections.abc import Mapping
from functools import lru_cache, partial
from pathlib import Path
from urllib.parse import quote

from fastapi import FastAPI, HTTPException
from fastapi.responses import Response
from nicegui import ui

from fitkit.errors import FileError, FitkitError
from fitkit.room.drop_area import DropArea
from fitkit.room.drop_route import add_drop_route
from fitkit.room.made_routes import made_address
from fitkit.room.page import RoomPage
from fitkit.room.page_parts import box, button, field, mark, show_findings, words
from fitkit.room.session import RoomSession
from fitkit.room.stops import state_of_stop, stop_named
from fitkit.workflow.edit_settings import change_setting, read_job_settings
from fitkit.workflow.job_photos import (
    JobPhoto,
    arriving_photo,
    bring_back_photos,
    job_photos,
    photo_path,
    photos_aside,
    set_photo_aside,
    small_photo,
    take_in_photo,
)
from fitkit.workflow.scan_job import scan_facts

__all__ = ["add_routes", "build"]

_MOST_BYTES = 2_000_000_000  # a film of some minutes; photos are held to their pixels
_THUMBNAIL_PX = 360
# The check lengths of a printed sheet, and what they are where the printer is true.
_WAYS = {"Across, mm": "180", "Up, mm": "200"}
_MARK_OF_STATE = {
    "used": ("done", "fk-is-done", "used"),
    "left out": ("warning", "fk-is-stale", "left out"),
    "new": ("open", "fk-is-open", "not scanned yet"),
}


def build(page: RoomPage) -> None:
    """Fill the page."""

    def sent(taken: int, refused: list[str]) -> None:
        if taken:
            ui.notify(f"{taken} taken in")
        for text in refused[:5]:
            ui.notify(text, type="negative", multi_line=True, timeout=12000)
        if len(refused) > 5:
            ui.notify(f"{len(refused) - 5} more were refused", type="negative")

    DropArea(
        "/drop/photo",
        accept="image/*,video/*,.heic,.heif",
        files_words="Choose photos",
        folder_words="Choose a folder",
        idle="or drop them here: 30 to 50 from all round, the marker sheets in each",
        sent=sent,
    )
    page.live(lambda: _summary(page))
    page.live(lambda: _photos(page))


def _summary(page: RoomPage) -> None:
    session = page.session
    report = made_address(session, "scan", "report.html")
    state = state_of_stop(stop_named("photos"), session)
    photos = {photo.name for photo in job_photos(session.job())}
    about_scan = [finding for finding in state.findings if finding.where not in photos]
    with box("fk-even"):
        if report is not None:
            with box("fk-card"):
                words("The scan", "h2")
                facts = scan_facts(session.job())
                words(
                    f"{facts['photos']} photos and {facts['sheets']} sheets; size sure to "
                    f"{100 * facts['scale_sigma']:.2f} %",
                    "p",
                )
                show_findings(about_scan)
                link = words("Open the scan report", "a", "fk-download")
                link._props |= {"href": report, "target": "_blank", "rel": "noopener"}
        with box("fk-card"):
            words("The printed sheets", "h2")
            words("The two check lengths, by a steel rule on one printed sheet.", "p", "fk-soft")
            _check_lengths(page)


def _check_lengths(page: RoomPage) -> None:
    try:
        settings = read_job_settings(page.session.job())
    except FitkitError:
        return
    now = settings["capture"]["printed_mm"] or ("", "")
    told = {way: f"{length:g}" if length else "" for way, length in zip(_WAYS, now, strict=True)}

    def change() -> None:
        from fitkit.units import parse_length_mm

        lengths = [parse_length_mm(text) for text in told.values() if text.strip()]
        change_setting(
            page.session.job(),
            "capture",
            "printed_mm",
            lengths or None,
            words="check lengths of the printed sheets",
        )

    def keep(_: str) -> None:
        if len({bool(text.strip()) for text in told.values()}) == 1:  # one alone says nothing yet
            page.try_to(change)

    with box("fk-row"):
        for way, hint in _WAYS.items():
            note = partial(told.__setitem__, way)
            field(way, told[way], keep, classes="fk-short", hint=hint, note=note)


def _photos(page: RoomPage) -> None:
    photos = job_photos(page.session.job())
    aside = photos_aside(page.session.job())
    counts = {state: sum(photo.state == state for photo in photos) for state in _MARK_OF_STATE}
    with box("fk-row"):
        told = [f"{count} {_MARK_OF_STATE[state][2]}" for state, count in counts.items() if count]
        number = f"{len(photos)} photo{'s' * (len(photos) != 1)}"
        words(number + f": {', '.join(told)}" * bool(told), "h2")
        if aside:
            button(
                f"Bring back {len(aside)} set aside",
                lambda: page.try_to(lambda: bring_back_photos(page.session.job())),
                small=True,
            )
    order = list(_MARK_OF_STATE)
    gravest_first = sorted(photos, key=lambda photo: (order.index(photo.state) != 1, photo.name))
    with box("fk-photos", "ul"):
        for photo in gravest_first:
            _photo(page, photo)


def _photo(page: RoomPage, photo: JobPhoto) -> None:
    kind, colour, told = _MARK_OF_STATE[photo.state]

    def set_aside() -> None:
        page.try_to(lambda: set_photo_aside(page.session.job(), photo.name))

    with box("fk-photo" + " fk-out" * (photo.state == "left out"), "li"):
        if photo.film:
            words("film", classes="fk-photo-words")
        else:
            image = ui.element("img")
            address = f"/photo/{quote(photo.name)}?is={photo.version}"
            image._props |= {"src": address, "alt": f"Photo {photo.name}", "loading": "lazy"}
        with box("fk-photo-mark"):
            mark(kind, colour)
        with box("fk-photo-words"):
            words(photo.name, classes="fk-photo-name")
            words(told, "div", "fk-soft")
            for finding in photo.findings:
                words(finding.message)
                if finding.remedy:
                    words(finding.remedy, "div", "fk-soft")
            button("Set aside", set_aside, small=True, label=f"Set {photo.name} aside",
                   enabled=not page.session.working)  # fmt: skip


# -- routes ----------------------------------------------------------------------------------


def add_routes(app: FastAPI, session: RoomSession) -> Mapping[str, int]:
    """Add the addresses that photos come to and are shown from."""
    add_drop_route(app, session, "/drop/photo", arriving_photo, take_in_photo)

    @app.get("/photo/{name}")
    async def photo(name: str) -> Response:
        try:
            path = photo_path(session.job(), name)
            if path is None:
                raise HTTPException(404, "The job has no such photo.")
            content = await asyncio.to_thread(_thumbnail, path, path.stat().st_mtime_ns)
        except FileError as error:
            raise HTTPException(404, error.cause) from error
        year = {"cache-control": "private, max-age=31536000, immutable"}
        return Response(content, media_type="image/jpeg", headers=year)

    return {"/drop/photo": _MOST_BYTES}


@lru_cache(maxsize=512)
def _thumbnail(path: Path, changed_ns: int) -> bytes:  # noqa: ARG001  a changed photo is another
    return small_photo(path, _THUMBNAIL_PX)
