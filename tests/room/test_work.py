"""Long work in a process of its own: how it ends, however it ends."""

from __future__ import annotations

import asyncio
import json
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from fitkit.errors import JobBusyError
from fitkit.job.job_folder import open_job
from fitkit.room.session import RoomSession
from fitkit.room.shell import how_work_stands
from fitkit.room.work import Work
from fitkit.workflow.start_job import start_job

PHOTOS = Path(__file__).parents[2] / "sample_scans" / "heron_warden" / "photos"


@pytest.fixture
def session(tmp_path: Path) -> RoomSession:
    start_job(tmp_path / "heron", name="Heron")
    return RoomSession(tmp_path, tmp_path / "heron")


def with_photos(session: RoomSession) -> None:
    for photo in sorted(PHOTOS.glob("*.jpg"))[:6]:
        shutil.copy(photo, session.job() / "photos")


async def ended(session: RoomSession) -> None:
    while session.working:
        await asyncio.sleep(0.05)


def test_work_that_cannot_be_done_says_why_and_what_to_do(session: RoomSession) -> None:
    async def course() -> None:
        before = session.revision
        await session.start("make", "Scanning", until="scan")
        assert session.working
        with pytest.raises(JobBusyError):
            await session.start("make", "Scanning", until="scan")
        await ended(session)
        assert session.revision >= before + 2  # once when it began, once when it ended

    asyncio.run(course())
    work = session.work
    assert work is not None
    assert (work.ending, work.cause) == ("failed", "The job 'heron' has no photos.")
    assert "Give it some" in work.remedy


def test_stopped_work_leaves_the_job_as_it_was_and_lets_go_of_it(session: RoomSession) -> None:
    with_photos(session)

    async def course() -> None:
        await session.start("make", "Scanning", until="scan")
        work = session.work
        assert work is not None
        while not work.share and work.running:
            await asyncio.sleep(0.05)
        assert session.going == "scan"
        await session.stop_work()
        assert work.ending == "stopped"

    asyncio.run(course())
    assert not (session.job() / "scan").exists()
    with open_job(session.job()).locked("test"):
        pass


def test_work_is_stopped_while_it_is_being_started(session: RoomSession) -> None:
    with_photos(session)

    async def course() -> None:
        starting = asyncio.create_task(session.start("make", "Scanning", until="scan"))
        while not session.working:
            await asyncio.sleep(0)
        await session.stop_work()
        await starting
        assert session.work is not None
        assert session.work.ending == "stopped"

    asyncio.run(course())
    assert not (session.job() / "scan").exists()


def test_work_waits_for_a_change_that_is_just_being_kept(session: RoomSession) -> None:
    async def course() -> None:
        with open_job(session.job()).locked("settings"):
            await session.start("make", "Scanning", until="scan")
            work = session.work
            assert work is not None
            while "waiting" not in work.words and work.running:
                await asyncio.sleep(0.01)
            assert work.running, work.cause
        await ended(session)
        assert work.cause == "The job 'heron' has no photos."

    asyncio.run(course())


def test_work_stopped_before_it_said_anything_is_seen_to_have_ended(session: RoomSession) -> None:
    async def course() -> None:
        await session.start("make", "Scanning", until="scan")
        before = how_work_stands(session)
        await session.stop_work()
        assert session.work is not None
        assert (session.work.ending, session.work.step) == ("stopped", "")
        assert how_work_stands(session) != before  # so that every page says so

    asyncio.run(course())


def test_a_worker_ends_when_its_room_is_gone(session: RoomSession) -> None:
    with_photos(session)
    worker = subprocess.Popen(
        [sys.executable, "-m", "fitkit.room.worker"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert worker.stdin is not None
    assert worker.stdout is not None
    order = {"task": "make", "folder": str(session.job()), "arguments": {"until": "scan"}}
    worker.stdin.write(json.dumps(order) + "\n")
    worker.stdin.flush()
    assert "step" in json.loads(worker.stdout.readline())
    worker.stdin.close()
    assert worker.wait(timeout=60) == 1
    worker.stdout.close()
    assert not (session.job() / "scan").exists()


def test_the_open_job_is_opened_again_while_work_goes_on_in_it(session: RoomSession) -> None:
    start_job(session.shelf / "other", name="Other")
    session.work = Work("make", "Making")
    revision = session.revision
    session.take_up(session.shelf / "other" / ".." / "heron")
    assert session.working
    assert session.revision > revision
    with pytest.raises(JobBusyError):
        session.take_up(session.shelf / "other")
