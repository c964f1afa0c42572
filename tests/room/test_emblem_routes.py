"""An emblem on its way into the job through the room's own address."""

from __future__ import annotations

import io
from pathlib import Path

import pytest
from fastapi import FastAPI
from PIL import Image, ImageDraw

from fitkit.job.artwork_files import read_artwork
from fitkit.room.emblem_routes import EMBLEM_ADDRESS, add_emblem_routes
from fitkit.room.guard import Guard, enter_path
from fitkit.room.session import RoomSession
from fitkit.workflow.fittings import emblem_files
from fitkit.workflow.start_job import start_job
from tests.room.asking import Asking
from tests.workflow.quick_steps import tree

TOKEN, PORT = "secret", 8126
SVG = b'<svg xmlns="http://www.w3.org/2000/svg"><path d="M0 0h10v10h-10z"/></svg>'


@pytest.fixture
def session(tmp_path: Path) -> RoomSession:
    start_job(tmp_path / "shelf" / "heron", name="Heron")
    return RoomSession(tmp_path / "shelf", tmp_path / "shelf" / "heron")


@pytest.fixture
def browser(session: RoomSession) -> Asking:
    app = FastAPI()
    limits = add_emblem_routes(app, session)
    guard = Guard(app, token=TOKEN, host="127.0.0.1", port=PORT, body_limits=limits)
    return Asking(guard, f"http://127.0.0.1:{PORT}", enter_path(TOKEN))


def picture(size: tuple[int, int], kind: str = "PNG") -> bytes:
    drawn = Image.new("L", size, "white")
    ImageDraw.Draw(drawn).ellipse((10, 10, 40, 30), fill="black")
    kept = io.BytesIO()
    drawn.save(kept, kind)
    return kept.getvalue()


def test_emblems_lie_in_the_job_under_its_own_names_the_newest_first(
    browser: Asking, session: RoomSession
) -> None:
    revision, told = session.revision, {"name": "../../evil.svg"}
    for content, name in (
        (SVG, "emblem-1.svg"),
        (picture((60, 40)), "emblem-2.png"),
        (picture((60, 40), "JPEG"), "emblem-3.jpg"),
    ):
        answer = browser.post(EMBLEM_ADDRESS, params=told, content=content)
        assert answer.json() == {"taken": name}
        assert read_artwork(session.job(), name)
    assert session.revision == revision + 3
    assert not list(session.shelf.rglob("*evil*"))
    assert set(emblem_files(session.job())) == {"emblem-1.svg", "emblem-2.png", "emblem-3.jpg"}


def test_what_is_no_emblem_is_refused_with_words_and_leaves_nothing(
    browser: Asking, session: RoomSession
) -> None:
    before = tree(session.job())
    blank = io.BytesIO()
    Image.new("L", (60, 40), "white").save(blank, "PNG")
    huge = io.BytesIO()
    Image.new("1", (8000, 6000)).save(huge, "PNG")
    for content, word in (
        (b"", "neither a drawing nor a picture"),
        (b"words\n" * 9, "neither a drawing nor a picture"),
        (b"<svg><path", "not a drawing in SVG"),
        (b'<svg xmlns="http://www.w3.org/2000/svg"/>', "shows no line"),
        (blank.getvalue(), "shows no line"),
        (huge.getvalue(), "more than 40 megapixels"),
        (picture((60, 40))[:80], "can be read"),
    ):
        answer = browser.post(EMBLEM_ADDRESS, content=content)
        assert answer.status_code == 200
        refused = answer.json()["refused"]
        assert word in refused
        assert ".svg'" not in refused  # no name that the maker did not give
    assert tree(session.job()) == before


def test_more_than_an_emblem_may_weigh_is_refused_before_it_is_read(browser: Asking) -> None:
    headers = {"content-length": "31000000"}
    assert browser.post(EMBLEM_ADDRESS, content=SVG, headers=headers).status_code == 413
