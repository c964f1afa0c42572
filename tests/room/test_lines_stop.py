"""The stop *lines* without a browser: its page says and offers what the desk holds, at once."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Coroutine
from pathlib import Path
from typing import Any

import pytest
from nicegui.element import Element

from fitkit.job.body_files import body_files
from fitkit.job.job_folder import create_job
from fitkit.job.made_from import FileDigests
from fitkit.room import lines_stop
from fitkit.room.design_desk import DesignDesk, desk_of
from fitkit.room.session import RoomSession
from fitkit.workflow.pick_place import Ray
from tests.patch.upright import cylinder_form
from tests.room.without_browser import come_about, named, offered, opened_page, press, said

TEXT = """\
format = 1

[job]
name = "Heron Warden"

[[line]]
name = "low"
kind = "level"
height_mm = 100
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    job = create_job(tmp_path / "heron", TEXT)
    made = dict(body_files(cylinder_form(edge_mm=25.0).body))
    with job.locked("test"):
        job.keep_result("body", made, inputs={}, digests=FileDigests(job.folder))
    return job.folder


def run(folder: Path, course: Callable[[DesignDesk, Element], Coroutine[Any, Any, None]]) -> None:
    """Run a course on the stop, with what stands on its page."""

    async def whole() -> None:
        session = RoomSession(folder.parent, folder)
        async with opened_page(session) as page:
            lines_stop.build(page)
            desk = desk_of(session)
            await come_about(lambda: desk.now.patches is not None and not desk.now.doing)
            await course(desk, page._client.content)

    asyncio.run(whole())


def at(x_mm: float, z_mm: float) -> Ray:
    return Ray((x_mm, -3000.0, z_mm), (0.0, 1.0, 0.0), 0.001)


def test_a_click_beside_the_body_is_answered(folder: Path) -> None:
    async def course(desk: DesignDesk, shown: Element) -> None:
        await come_about(lambda: "Click a line or a patch" in said(shown))
        press(shown, "Draw a line")
        await come_about(lambda: "Click where the line begins" in said(shown))
        await desk.drawing.click(at(900.0, 200.0))
        await come_about(lambda: "That was beside the body." in said(shown))
        await desk.drawing.click(at(0.0, 200.0))
        await come_about(lambda: "Click where it goes next" in said(shown))
        assert "beside the body" not in said(shown)
        await desk.drawing.click(at(900.0, 200.0))
        await come_about(lambda: "That was beside the body." in said(shown))
        press(shown, "Leave it")
        await come_about(lambda: "beside the body" not in said(shown))

    run(folder, course)


def test_a_line_is_offered_to_be_drawn_on_once_the_pen_is_lifted(folder: Path) -> None:
    async def course(desk: DesignDesk, shown: Element) -> None:
        press(shown, "Draw a line")
        for place in (at(-50.0, 150.0), at(50.0, 300.0)):
            await desk.drawing.click(place)
        await come_about(lambda: offered(shown, "One beside it"))
        await come_about(
            lambda: desk.now.patches is not None and desk.now.patches.lines is desk.now.lines
        )
        assert not offered(shown, "Draw on from its end")
        press(shown, "Done")
        await come_about(lambda: offered(shown, "Draw on from its end"))

    run(folder, course)


def test_the_form_is_ticked_on_every_page(folder: Path) -> None:
    async def course(desk: DesignDesk, shown: Element) -> None:
        await desk.show_ghost(True)  # from another tab
        await come_about(lambda: named(shown, "Form over the body")._props["value"] is True)
        await desk.show_ghost(False)
        await come_about(lambda: named(shown, "Form over the body")._props["value"] is False)

    run(folder, course)
