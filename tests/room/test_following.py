"""Changes made while something runs: each is followed, whenever it comes.

Work is done here and at once, but goes on until it is let go: as a process that has taken in the
job, and ends a while later.
"""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Callable, Coroutine, Mapping, Sequence
from pathlib import Path
from typing import Any, ClassVar

import pytest

from fitkit.errors import InputError
from fitkit.job.body_files import read_body
from fitkit.job.job_folder import open_job
from fitkit.room import body_marks, mesh_panel
from fitkit.room.body_marks import BodyMarks
from fitkit.room.page import RoomPage
from fitkit.room.session import RoomSession
from fitkit.room.work import Work
from fitkit.room.worker import TASKS
from fitkit.workflow.edit_settings import change_settings, change_tape
from fitkit.workflow.measure_job import kept_measures
from fitkit.workflow.place_landmarks import place_mark, see_places
from tests.room.column_job import column_job
from tests.room.without_browser import come_about, fill, opened_page

BODY = {"step": "body", "doing": "Making the body"}
Course = Callable[[RoomPage], Coroutine[Any, Any, None]]


class HeldWork(Work):
    """Work that is done once it begins and ends once it is let go, at once if none is held."""

    begun: ClassVar[list[HeldWork]] = []
    held: ClassVar[bool] = True

    async def start(
        self,
        folder: Path,
        arguments: Mapping[str, Any],
        *,
        heard: Callable[[], None],  # noqa: ARG002  it says nothing
        ended: Callable[[], None],
    ) -> None:
        self.begun.append(self)
        self._ended = ended
        TASKS[self.task](folder, progress=lambda *_: None, begins=lambda _: None, **arguments)
        if not self.held:
            self.let_go()

    def let_go(self, how: str = "done") -> None:
        if self.running:
            self._end(how)
            self._ended()

    async def stop(self) -> None:
        self.let_go("stopped")


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Mapping[str, bytes]:
    """Return the files of a job whose body is that of a mesh."""
    folder = column_job(tmp_path_factory.mktemp("column"), 40)
    paths = [path for path in folder.rglob("*") if path.is_file()]
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in paths}


@pytest.fixture
def folder(made: Mapping[str, bytes], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    for name, content in made.items():
        path = tmp_path / "column" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    for picture in ("body_picture.png_of_body", "tapes_picture.png_of_tapes"):
        monkeypatch.setattr(f"fitkit.export.{picture}", lambda *_: b"not looked at")
    monkeypatch.setattr("fitkit.room.session.Work", HeldWork)
    monkeypatch.setattr(HeldWork, "begun", [])
    monkeypatch.setattr(HeldWork, "held", True)
    return tmp_path / "column"


def run(folder: Path, course: Course) -> None:
    async def whole() -> None:
        async with opened_page(RoomSession(folder.parent, folder)) as page:
            await course(page)

    asyncio.run(whole())


async def landmarks_of(page: RoomPage) -> BodyMarks:
    marks = BodyMarks(page, lambda: None)
    await marks._show_kind("landmark")
    return marks


async def at_rest(page: RoomPage) -> None:
    """Let everything end that goes on or follows."""
    HeldWork.held = False
    for work in HeldWork.begun:
        work.let_go()
    # What the last end began has had its turn once others can have it.
    for _ in range(20):
        await asyncio.sleep(0)
    await come_about(lambda: not page.session.working)


def told(folder: Path) -> Sequence[float] | None:
    return open_job(folder).settings.body.landmarks.get("scar")


def body_state(folder: Path) -> str:
    return open_job(folder).state("body").state


def test_a_change_on_the_heels_of_another_is_followed(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The first is being shown, and its work begun, while the second is being kept."""
    looks, comes, goes = threading.Event(), threading.Event(), threading.Event()

    def see(job: Path) -> Any:
        looks.wait(60)
        return see_places(job)

    def put(job: Path, kind: Any, name: str, at_mm: Any) -> Any:
        if at_mm is None:
            comes.set()
            goes.wait(60)
        return place_mark(job, kind, name, at_mm)

    async def course(page: RoomPage) -> None:
        marks, before = await landmarks_of(page), told(folder)
        monkeypatch.setattr(body_marks, "see_places", see)
        monkeypatch.setattr(body_marks, "place_mark", put)
        first = asyncio.create_task(marks._keep("scar", (0.0, -120.0, 200.0)))
        await come_about(lambda: told(folder) != before)
        second = asyncio.create_task(marks._keep("scar", None))
        await asyncio.to_thread(comes.wait, 60)
        looks.set()
        await first
        goes.set()
        await second
        await at_rest(page)

    run(folder, course)
    assert told(folder) is None
    assert "scar" not in read_body(folder / "body").landmarks
    assert body_state(folder) == "fresh"


def test_a_change_while_other_work_goes_on_is_followed_when_that_is_done(folder: Path) -> None:
    async def course(page: RoomPage) -> None:
        marks = await landmarks_of(page)
        await page.session.start("measure", "Measuring the body")
        await marks._keep("scar", None)
        assert [work.task for work in HeldWork.begun] == ["measure"]
        await at_rest(page)

    run(folder, course)
    assert [work.task for work in HeldWork.begun] == ["measure", "make"]
    assert "scar" not in read_body(folder / "body").landmarks
    assert body_state(folder) == "fresh"


def test_a_landmark_moved_while_work_holds_the_job_is_refused_in_the_rooms_words(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    said: list[str] = []
    monkeypatch.setattr("fitkit.room.page.ui.notify", lambda words, **_: said.append(words))

    async def course(page: RoomPage) -> None:
        marks = await landmarks_of(page)
        await page.session.start("measure", "Measuring the body")
        with open_job(folder).locked("measure"):
            await marks._typed("scar", 2, "20 cm")
        await at_rest(page)
        with open_job(folder).locked("measure"):  # by another program
            await marks._typed("scar", 2, "20 cm")

    before = told(folder)
    run(folder, course)
    assert told(folder) == before
    mine, other = said
    assert mine.startswith("Measuring the body is still going on")
    assert "stop it; then do this again" in mine
    assert "Process" not in mine
    assert "Process" in other
    assert not any("command" in one for one in said)


def test_the_way_a_mesh_faces_told_while_work_goes_on_is_followed(folder: Path) -> None:
    async def course(page: RoomPage) -> None:
        mesh_panel.mesh_panel(page)
        await page.session.start("measure", "Measuring the body")
        fill(page._client.content, "The wearer faces, in the file", "y")
        await come_about(lambda: open_job(folder).settings.body.front == "y")
        await at_rest(page)

    run(folder, course)
    assert HeldWork.begun[-1].task == "make"
    assert body_state(folder) == "fresh"


def test_what_was_cut_short_for_a_change_is_done_though_the_body_still_holds(folder: Path) -> None:
    async def course(page: RoomPage) -> None:
        following = page.session.following
        await following.change(lambda: place_mark(folder, "landmark", "scar", None), **BODY)
        await come_about(lambda: len(HeldWork.begun) == 1)
        (folder / "body" / "measures.json").unlink()  # as where the tape was not laid yet
        await following.change(lambda: change_tape(folder, "chest", "98 cm"), **BODY)
        await at_rest(page)
        assert page.session.work is HeldWork.begun[1]

    run(folder, course)
    assert [work.ending for work in HeldWork.begun] == ["stopped", "done"]
    assert kept_measures(folder) is not None


def test_after_stop_nothing_follows(folder: Path) -> None:
    async def course(page: RoomPage) -> None:
        await page.session.start("measure", "Measuring the body")
        change = page.session.following.change
        await change(lambda: place_mark(folder, "landmark", "scar", None), **BODY)
        await page.session.stop_work()
        await at_rest(page)

    run(folder, course)
    assert [work.ending for work in HeldWork.begun] == ["stopped"]
    assert body_state(folder) == "stale"


def test_nothing_follows_that_needs_a_scan_first(folder: Path) -> None:
    async def course(page: RoomPage) -> None:
        gone = {"from_mesh": None, "mesh_unit": None}
        change = page.session.following.change
        await change(lambda: change_settings(folder, "body", gone, words="no mesh"), **BODY)
        await at_rest(page)

    run(folder, course)
    assert HeldWork.begun == []
    assert body_state(folder) == "stale"


def test_a_change_that_fails_leaves_the_one_before_it_to_be_followed(folder: Path) -> None:
    def fails() -> None:
        raise InputError("No.", "Leave it.")

    async def course(page: RoomPage) -> None:
        change = page.session.following.change
        await change(lambda: place_mark(folder, "landmark", "scar", None), **BODY)
        await come_about(lambda: len(HeldWork.begun) == 1)
        with pytest.raises(InputError):
            await change(fails, **BODY)
        await at_rest(page)

    run(folder, course)
    assert HeldWork.begun[-1].ending == "done"
    assert body_state(folder) == "fresh"


def test_two_numbers_of_a_place_typed_in_a_row_are_both_kept(folder: Path) -> None:
    async def course(page: RoomPage) -> None:
        marks = await landmarks_of(page)
        # Neither waits for the other to be shown.
        await asyncio.gather(marks._typed("scar", 2, "20 cm"), marks._typed("scar", 0, "60"))
        await at_rest(page)

    run(folder, course)
    at = told(folder)
    assert at is not None
    assert at[2] == pytest.approx(200.0, abs=1.0)
    assert at[0] > 50.0
