"""The stop *motion* without a browser: trims taken and refused, and all that follows the job."""

from __future__ import annotations

import asyncio
import shutil
import threading
from collections.abc import Callable, Coroutine
from pathlib import Path
from typing import Any

import pytest
from nicegui.element import Element

from fitkit.errors import JobError
from fitkit.job.job_folder import open_job
from fitkit.job.made_from import FileDigests
from fitkit.room import motion_stop
from fitkit.room.page import RoomPage
from fitkit.room.session import RoomSession
from fitkit.room.viewer import Viewer
from fitkit.workflow.motion_job import motion_step
from fitkit.workflow.moving_body import MovingBody
from fitkit.workflow.see_motion import read_moving_body
from tests.room.without_browser import come_about, opened_page, press, said
from tests.workflow.elbow_job import elbow_job


@pytest.fixture(scope="module")
def swept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the job of two sleeves on an arm, its elbow swept; not to be changed."""
    folder = tmp_path_factory.mktemp("arm")
    motion_step(elbow_job(folder), digests=FileDigests(folder))
    return folder


@pytest.fixture
def folder(swept: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(swept, tmp_path / "arm"))


def run(folder: Path, course: Callable[[RoomPage, Element], Coroutine[Any, Any, None]]) -> None:
    """Run a course on the stop, with what stands on its page."""

    async def whole() -> None:
        async with opened_page(RoomSession(folder.parent, folder)) as page:
            motion_stop.build(page)
            await course(page, page._client.content)

    asyncio.run(whole())


def rewritten(page: RoomPage, folder: Path, before: str, after: str) -> None:
    """Change the job as another program does."""
    path = folder / "job.toml"
    text = path.read_text(encoding="utf-8")
    assert before in text
    path.write_text(text.replace(before, after), encoding="utf-8")
    page.session.changed()


def test_a_trim_is_taken_by_its_button(folder: Path) -> None:
    """The order that goes to the process beside the room; what comes of it is tested with it."""
    begun: list[tuple[str, str, dict[str, Any]]] = []

    async def course(page: RoomPage, shown: Element) -> None:
        async def start(task: str, doing: str, **arguments: Any) -> None:
            begun.append((task, doing, arguments))

        page.session.start = start  # type: ignore[method-assign]  # it is not carried out here
        press(shown, "Take the trim of the forearm sleeve")
        await come_about(lambda: bool(begun))

    run(folder, course)
    patch = "forearm sleeve"
    assert begun == [("take trim", f"Trimming the {patch}", {"patch": patch})]


def test_a_trim_refused_is_offered_no_more_until_it_may_be(folder: Path) -> None:
    async def course(page: RoomPage, shown: Element) -> None:
        press(shown, "Refuse the trim of the forearm sleeve")
        assert open_job(folder).settings.motion.keep == ["forearm sleeve"]
        await come_about(lambda: "forearm sleeve: not to be trimmed" in said(shown))
        await come_about(lambda: "Something has changed since the joints were moved" in said(shown))
        press(shown, "The forearm sleeve may be trimmed")
        assert open_job(folder).settings.motion.keep == []
        await come_about(lambda: "not to be trimmed" not in said(shown))
        page._look()
        assert "Something has changed" not in said(shown)

    run(folder, course)


def test_what_another_program_tells_of_motion_is_seen(folder: Path) -> None:
    async def course(page: RoomPage, shown: Element) -> None:
        assert "Wave the staff" not in said(shown)
        row = '[[need]]\nname = "wave the staff"\ntakes = { "elbow bend" = 30 }\n\n[[need]]'
        rewritten(page, folder, "[[need]]", row)
        await come_about(lambda: "Wave the staff" in said(shown))
        lames = '[[lames]]\nname = "cop"\nof = ["forearm sleeve"]\njoint = "left elbow"\n\n[[line]]'
        rewritten(page, folder, "[[line]]", lames)
        await come_about(lambda: "cop: 1 strips over the left elbow" in said(shown))

    run(folder, course)


def test_what_changes_while_plates_that_cannot_be_read_are_read_is_shown(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    comes, goes = threading.Event(), threading.Event()

    def reads(job: Path) -> MovingBody | None:
        if not comes.is_set():
            comes.set()
            goes.wait(60)
            raise JobError("The plates are just being made.", "Wait.")
        return read_moving_body(job)

    monkeypatch.setattr(motion_stop, "read_moving_body", reads)

    async def course(page: RoomPage, shown: Element) -> None:
        (viewer,) = (one for one in shown.descendants() if isinstance(one, Viewer))
        await asyncio.to_thread(comes.wait, 60)
        page.session.changed()
        page._look()
        await asyncio.sleep(0)  # the change has been heard
        goes.set()
        await come_about(lambda: "forearm sleeve" in viewer._objects["Mesh"])
        page._look()
        assert "The plates are just being made" not in said(shown)

    run(folder, course)


def test_a_job_that_could_not_be_read_for_a_moment_leaves_no_word_behind(folder: Path) -> None:
    async def course(page: RoomPage, shown: Element) -> None:
        (viewer,) = (one for one in shown.descendants() if isinstance(one, Viewer))
        await come_about(lambda: "forearm sleeve" in viewer._objects["Mesh"])
        rewritten(page, folder, "[motion]", "[motion")
        for _ in range(20):  # it is looked at; the head of the page tells what is wrong
            page._look()
            await asyncio.sleep(0.02)
        rewritten(page, folder, "[motion\n", "[motion]\n")
        for _ in range(20):
            page._look()
            await asyncio.sleep(0.02)
        assert "job.toml" not in said(shown)
        assert "free to" in said(shown)

    run(folder, course)
