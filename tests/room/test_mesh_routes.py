"""A mesh on its way into the job through the room's own address."""

from __future__ import annotations

from pathlib import Path

import pytest
from fastapi import FastAPI

from fitkit.geometry.mesh_files import ply_bytes
from fitkit.room.body_stop import add_routes
from fitkit.room.guard import Guard, enter_path
from fitkit.room.session import RoomSession
from fitkit.workflow.start_job import start_job
from fitkit.workflow.take_in_mesh import mesh_to_take
from tests.room.asking import Asking
from tests.truth.solids import cylinder
from tests.workflow.quick_steps import tree

TOKEN, PORT = "secret", 8125


@pytest.fixture
def session(tmp_path: Path) -> RoomSession:
    start_job(tmp_path / "shelf" / "heron", name="Heron")
    return RoomSession(tmp_path / "shelf", tmp_path / "shelf" / "heron")


@pytest.fixture
def browser(session: RoomSession) -> Asking:
    app = FastAPI()
    limits = add_routes(app, session)
    guard = Guard(app, token=TOKEN, host="127.0.0.1", port=PORT, body_limits=limits)
    return Asking(guard, f"http://127.0.0.1:{PORT}", enter_path(TOKEN))


def test_a_mesh_waits_under_the_jobs_own_name(browser: Asking, session: RoomSession) -> None:
    content = ply_bytes(cylinder(120, 500, 25))
    revision = session.revision
    answer = browser.post("/drop/mesh", params={"name": "../../evil.ply"}, content=content)
    assert answer.json() == {"taken": "mesh"}
    assert session.revision > revision
    waiting = mesh_to_take(session.job())
    assert waiting is not None
    assert not list(session.shelf.rglob("*evil*"))


def test_what_is_no_mesh_is_refused_with_words_and_leaves_nothing(
    browser: Asking, session: RoomSession
) -> None:
    before = tree(session.job())
    for content in (b"", b"words\n" * 9, b"glTF" + b"\0" * 40, b"solid x\nvertex a b c\n"):
        answer = browser.post("/drop/mesh", content=content)
        assert answer.status_code == 200
        assert answer.json()["refused"]
    assert tree(session.job()) == before


def test_more_than_a_mesh_may_weigh_is_refused_before_it_is_read(browser: Asking) -> None:
    headers = {"content-length": "5368709120"}
    assert browser.post("/drop/mesh", content=b"ply", headers=headers).status_code == 413
