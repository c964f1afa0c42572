"""The desk behind the stop *lines*: clicks, keys and tools in the order in which they were made.

A maker is faster than the job is written: what comes while a line is still being kept must do what
it would have done a moment later. Keeping is held up here for as long as a test wants it to be.
"""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Callable, Coroutine
from pathlib import Path
from typing import Any

import pytest

from fitkit.errors import FitkitError, JobBusyError
from fitkit.job.body_files import body_files
from fitkit.job.job_folder import create_job, open_job
from fitkit.job.made_from import FileDigests
from fitkit.room import desk_drawing
from fitkit.room.design_desk import DesignDesk
from fitkit.room.design_state import Chosen
from fitkit.room.session import RoomSession
from fitkit.workflow.edit_job import list_rows
from fitkit.workflow.pick_place import Ray
from tests.patch.upright import cylinder_form

TEXT = """\
format = 1

[job]
name = "Heron Warden"

[[line]]
name = "low"
kind = "level"
height_mm = 100
"""


class Held:
    """Keeping that waits until it is let go."""

    def __init__(self, keep: Callable[..., Any]) -> None:
        self._keep = keep
        self._go_on = threading.Event()
        self.begun = threading.Event()

    def __call__(self, *told: Any, **named: Any) -> Any:
        self.begun.set()
        assert self._go_on.wait(60.0)
        return self._keep(*told, **named)

    def let_go(self) -> None:
        self._go_on.set()

    async def waits(self) -> None:
        assert await asyncio.to_thread(self.begun.wait, 60.0)


@pytest.fixture(scope="module")
def made() -> dict[str, bytes]:
    return dict(body_files(cylinder_form(edge_mm=25.0).body))


@pytest.fixture
def folder(tmp_path: Path, made: dict[str, bytes]) -> Path:
    job = create_job(tmp_path / "heron", TEXT)
    with job.locked("test"):
        job.keep_result("body", made, inputs={}, digests=FileDigests(job.folder))
    return job.folder


@pytest.fixture
def held(monkeypatch: pytest.MonkeyPatch) -> Held:
    """Hold up the keeping of new lines."""
    held = Held(desk_drawing.add_rows)
    monkeypatch.setattr(desk_drawing, "add_rows", held)
    return held


def run(folder: Path, course: Callable[[DesignDesk], Coroutine[Any, Any, None]]) -> DesignDesk:
    """Run a course on the desk of a room, and all that it left to be done behind."""

    async def whole() -> DesignDesk:
        desk = DesignDesk(RoomSession(folder.parent, folder))
        await desk.refresh()
        assert desk.now.fault is None
        await course(desk)
        await behind()
        return desk

    return asyncio.run(whole())


async def behind() -> None:
    while others := asyncio.all_tasks() - {asyncio.current_task()}:
        await asyncio.gather(*others)


def at(x_mm: float, z_mm: float) -> Ray:
    """Look at the front of the cylinder, which faces -y."""
    return Ray((x_mm, -3000.0, z_mm), (0.0, 1.0, 0.0), 0.001)


def names(folder: Path) -> list[str]:
    return [row["name"] for row in list_rows(folder, "line")]


def test_escape_while_a_line_is_being_kept_keeps_it_and_ends_the_drawing(
    folder: Path, held: Held
) -> None:
    async def course(desk: DesignDesk) -> None:
        desk.drawing.take("line")
        await desk.drawing.click(at(-50, 150))
        second = asyncio.create_task(desk.drawing.click(at(-50, 300)))
        await held.waits()
        desk.drawing.lift()
        assert desk.now.stroke.line is None
        held.let_go()
        await second
        assert desk.now.stroke.line is None
        assert desk.now.stroke.first is None
        await desk.drawing.click(at(50, 150))  # begins another

    desk = run(folder, course)
    assert names(folder) == ["low", "line"]
    assert desk.now.stroke.first is not None


def test_a_click_made_before_the_pen_was_lifted_is_drawn_still(folder: Path, held: Held) -> None:
    async def course(desk: DesignDesk) -> None:
        desk.drawing.take("line")
        await desk.drawing.click(at(-50, 150))
        second = asyncio.create_task(desk.drawing.click(at(-50, 300)))
        await held.waits()
        third = asyncio.create_task(desk.drawing.click(at(0, 300)))
        await asyncio.sleep(0)
        desk.drawing.take("choose")
        desk.drawing.take("line")
        fourth = asyncio.create_task(desk.drawing.click(at(50, 200)))
        fifth = asyncio.create_task(desk.drawing.click(at(50, 300)))
        await asyncio.sleep(0)
        held.let_go()
        await asyncio.gather(second, third, fourth, fifth)

    run(folder, course)
    low, one, other = list_rows(folder, "line")
    assert low["name"] == "low"
    assert [len(row["points"]) for row in (one, other)] == [3, 2]


def test_a_click_means_the_tool_in_hand_when_it_was_made(folder: Path) -> None:
    async def course(desk: DesignDesk) -> None:
        desk.drawing.take("line")
        await desk.drawing.click(at(-50, 150))
        click = desk.drawing.click(at(-50, 300))  # which is not begun before the next is heard
        desk.drawing.take("choose")
        await click

    run(folder, course)
    assert names(folder) == ["low", "line"]


def test_the_delete_key_means_the_line_that_is_being_drawn(folder: Path, held: Held) -> None:
    async def course(desk: DesignDesk) -> None:
        desk.choose("line", "low")
        desk.drawing.take("line")
        await desk.drawing.click(at(-50, 150))
        second = asyncio.create_task(desk.drawing.click(at(-50, 300)))
        await held.waits()
        removed = asyncio.create_task(desk.editing.remove())
        await asyncio.sleep(0)
        held.let_go()
        await asyncio.gather(second, removed)

    run(folder, course)
    assert names(folder) == ["low"]


def test_undo_means_the_line_that_is_being_kept(folder: Path, held: Held) -> None:
    async def course(desk: DesignDesk) -> None:
        desk.drawing.take("line")
        await desk.drawing.click(at(-50, 150))
        second = asyncio.create_task(desk.drawing.click(at(-50, 300)))
        await held.waits()
        undone = asyncio.create_task(desk.editing.step(back=True))
        await asyncio.sleep(0)
        held.let_go()
        await asyncio.gather(second, undone)
        await desk.editing.step(back=False)
        assert names(folder) == ["low", "line"]
        await desk.editing.step(back=True)

    desk = run(folder, course)
    assert names(folder) == ["low"]
    assert desk.now.stroke.line is None


def test_undo_takes_the_first_place_back_before_any_line(folder: Path) -> None:
    async def course(desk: DesignDesk) -> None:
        desk.drawing.take("line")
        click = asyncio.create_task(desk.drawing.click(at(-50, 150)))
        await asyncio.sleep(0)
        await desk.editing.step(back=True)
        await click

    desk = run(folder, course)
    assert desk.now.stroke.first is None
    assert names(folder) == ["low"]


def test_closing_waits_for_the_place_before(folder: Path) -> None:
    async def course(desk: DesignDesk) -> None:
        desk.drawing.take("line")
        for place in (at(-50, 150), at(-50, 300)):
            await desk.drawing.click(place)
        third = asyncio.create_task(desk.drawing.click(at(50, 300)))
        await asyncio.sleep(0)
        await desk.drawing.close()
        await third

    desk = run(folder, course)
    line = list_rows(folder, "line")[1]
    assert (len(line["points"]), line["closed"]) == (3, True)
    assert desk.now.stroke.line is None


def test_a_line_that_cannot_be_kept_is_seen_no_more_and_the_pen_stays(folder: Path) -> None:
    async def course(desk: DesignDesk) -> None:
        desk.drawing.take("line")
        await desk.drawing.click(at(-50, 150))
        with open_job(folder).locked("another program"), pytest.raises(JobBusyError):
            await desk.drawing.click(at(-50, 300))
        assert desk.now.lines is not None
        assert [design.name for design in desk.now.lines.told] == ["low"]
        await desk.drawing.click(at(-50, 300))  # the first place was not lost

    run(folder, course)
    assert names(folder) == ["low", "line"]


@pytest.mark.parametrize("saved", ["", TEXT], ids=["half", "whole"])
def test_a_line_that_is_gone_again_as_soon_as_it_was_kept_is_not_seen_for_ever(
    folder: Path, monkeypatch: pytest.MonkeyPatch, saved: str
) -> None:
    """An editor saves the old text over the new one, or is in the middle of it."""
    path, keep = folder / "job.toml", desk_drawing.add_rows

    def overwritten(*told: Any) -> None:
        keep(*told)
        path.write_text(saved, encoding="utf-8")

    monkeypatch.setattr(desk_drawing, "add_rows", overwritten)

    async def course(desk: DesignDesk) -> None:
        desk.drawing.take("line")
        for place in (at(-50, 150), at(-50, 300)):
            await desk.drawing.click(place)
        await behind()
        assert (desk.now.fault is not None) == (saved == "")
        path.write_text(TEXT, encoding="utf-8")
        await desk.refresh()
        assert desk.now.fault is None
        assert desk.now.lines is not None
        assert [design.name for design in desk.now.lines.told] == ["low"]
        assert desk.now.stroke.line is None

    run(folder, course)


def test_a_trial_that_is_laid_too_late_is_not_shown(folder: Path) -> None:
    async def course(desk: DesignDesk) -> None:
        slid = asyncio.create_task(desk.trying.line("low", {"height_mm": 150.0}))
        await asyncio.sleep(0)
        desk.trying.end()
        await slid
        assert desk.now.trial is None
        await desk.trying.line("low", {"height_mm": 160.0})
        assert desk.now.trial is not None
        with pytest.raises(FitkitError):
            await desk.editing.tell_line("low", {"height_mm": 9000.0})
        assert desk.now.trial is None

    run(folder, course)


def test_a_region_found_after_another_tool_was_taken_is_not_offered(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from fitkit.workflow import design_view

    held = Held(design_view.region_at)
    monkeypatch.setattr(design_view, "region_at", held)

    async def course(desk: DesignDesk) -> None:
        desk.drawing.take("patch")
        await desk.editing.add_line({"name": "high", "kind": "level", "height_mm": 300.0})
        found = asyncio.create_task(desk.drawing.click(at(0, 200)))
        await held.waits()
        desk.drawing.take("choose")
        held.let_go()
        await found
        assert desk.now.region is None
        desk.drawing.take("patch")
        await desk.drawing.click(at(0, 200))
        assert desk.now.region is not None
        await desk.editing.add_patch("  belly   plate ")
        assert desk.now.chosen == Chosen("patch", "belly plate")

    run(folder, course)
    (patch,) = list_rows(folder, "patch")
    assert patch["name"] == "belly plate"


def test_what_was_renamed_or_removed_elsewhere_is_chosen_no_more(folder: Path) -> None:
    async def course(desk: DesignDesk) -> None:
        desk.choose("line", "low")
        path = folder / "job.toml"
        path.write_text(TEXT.replace('"low"', '"hem"'), encoding="utf-8")
        await desk.refresh()
        assert desk.now.chosen is None
        desk.choose("line", "hem")
        await desk.editing.rename("line", "hem", " the  hem ")
        assert desk.now.chosen == Chosen("line", "the hem")
        with pytest.raises(FitkitError):
            await desk.editing.add_line({"name": "the hem", "kind": "level", "height_mm": 200.0})

    run(folder, course)
