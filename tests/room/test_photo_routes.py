"""Photos on their way into a job: bounded, looked at, named by the job itself."""

from __future__ import annotations

import io
import os
import time
from pathlib import Path

import pytest
from fastapi import FastAPI
from PIL import Image

from fitkit.job.job_folder import open_job
from fitkit.room.guard import Guard, enter_path
from fitkit.room.made_routes import add_made_routes
from fitkit.room.photos_stop import add_routes
from fitkit.room.session import RoomSession
from fitkit.workflow import job_photos as photos_of
from fitkit.workflow.start_job import start_job
from tests.room.asking import Asking
from tests.workflow.quick_steps import tree

TOKEN, PORT = "secret", 8124


def jpeg(shade: int, side_px: int = 64) -> bytes:
    content = io.BytesIO()
    exif = Image.Exif()
    exif[0x010E] = "Heronry Lane 7"
    Image.new("RGB", (side_px, side_px), (shade, 90, 90)).save(content, "JPEG", exif=exif)
    return content.getvalue()


@pytest.fixture
def session(tmp_path: Path) -> RoomSession:
    start_job(tmp_path / "shelf" / "heron", name="Heron")
    return RoomSession(tmp_path / "shelf", tmp_path / "shelf" / "heron")


@pytest.fixture
def browser(session: RoomSession) -> Asking:
    app = FastAPI()
    add_made_routes(app, session)
    limits = add_routes(app, session)
    guard = Guard(app, token=TOKEN, host="127.0.0.1", port=PORT, body_limits=limits)
    here = f"http://127.0.0.1:{PORT}"
    return Asking(guard, here, enter_path(TOKEN))


def test_photos_get_names_of_the_jobs_own(browser: Asking, session: RoomSession) -> None:
    before = session.revision
    names = [browser.post("/drop/photo", content=jpeg(shade)).json()["taken"] for shade in (10, 20)]
    assert names == ["photo-001.jpg", "photo-002.jpg"]
    assert [path.name for path in open_job(session.job()).photo_paths()] == names
    assert session.revision > before


@pytest.mark.parametrize(
    ("kind", "suffix"),
    [("PNG", "png"), ("TIFF", "tif"), ("WEBP", "webp"), ("HEIF", "heic"), ("MPO", "jpg")],
)
def test_every_kind_of_photo_is_told_by_its_content(
    browser: Asking, kind: str, suffix: str
) -> None:
    content = io.BytesIO()
    picture = Image.new("RGB", (64, 64), (10, 90, 90))
    more = {"save_all": True, "append_images": [picture]} if kind == "MPO" else {}
    picture.save(content, kind, **more)
    answer = browser.post("/drop/photo", content=content.getvalue())
    assert answer.json() == {"taken": f"photo-001.{suffix}"}


def test_the_same_photo_is_taken_in_once(browser: Asking, session: RoomSession) -> None:
    browser.post("/drop/photo", content=jpeg(10))
    again = browser.post("/drop/photo", content=jpeg(10))
    assert again.json() == {"refused": "It is there already."}
    assert len(open_job(session.job()).photo_paths()) == 1


@pytest.mark.parametrize("name", ["../../evil.jpg", "/etc/passwd", "C:\\evil.jpg", "..%2fevil"])
def test_a_name_that_is_sent_along_names_nothing(
    browser: Asking, session: RoomSession, name: str
) -> None:
    """Neither a header, a query nor a form's file name has a say in where a photo lies."""
    headers = {"x-file-name": name, "content-disposition": f'attachment; filename="{name}"'}
    answer = browser.post("/drop/photo", params={"name": name}, content=jpeg(10), headers=headers)
    assert answer.json() == {"taken": "photo-001.jpg"}
    form = browser.post("/drop/photo", files={"file": (name, jpeg(20))})
    assert "refused" in form.json()
    everything = {path for path in session.shelf.parent.rglob("*") if path.is_file()}
    assert {path.name for path in everything if "evil" in path.name or "passwd" in path.name} == (
        set()
    )
    assert [path.name for path in open_job(session.job()).photo_paths()] == ["photo-001.jpg"]


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b"", "neither a photo nor a film"),
        (b"<html><script>alert(1)</script></html>", "neither a photo nor a film"),
        (b"GIF89a" + bytes(100), "neither a photo nor a film"),
        (jpeg(10)[:50], "neither a photo nor a film"),
    ],
    ids=["empty", "page", "gif", "cut short"],
)
def test_what_is_no_photo_is_refused_and_leaves_nothing(
    browser: Asking, session: RoomSession, content: bytes, told: str
) -> None:
    before = tree(session.job())
    answer = browser.post("/drop/photo", content=content)
    assert told in answer.json()["refused"]
    assert tree(session.job()) == before


def test_a_photo_of_too_many_pixels_is_refused_by_its_head(
    browser: Asking, session: RoomSession
) -> None:
    """A PNG of a few kB that would unpack to 1.6 thousand megapixels."""
    import struct
    import zlib

    def chunk(kind: bytes, content: bytes) -> bytes:
        check = struct.pack(">I", zlib.crc32(kind + content))
        return struct.pack(">I", len(content)) + kind + content + check

    head = struct.pack(">IIBBBBB", 40_000, 40_000, 8, 0, 0, 0, 0)
    bomb = b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(bytes(999)))
    answer = browser.post("/drop/photo", content=bomb + chunk(b"IEND", b""))
    assert "megapixels" in answer.json()["refused"]
    assert open_job(session.job()).photo_paths() == ()


def test_films_are_told_by_their_first_bytes(browser: Asking) -> None:
    """ISO/IEC 14496-12 section 4.3: a box of type ftyp with the brand comes first."""
    film = b"\x00\x00\x00\x18ftypisom\x00\x00\x02\x00isommp42" + bytes(64)
    assert browser.post("/drop/photo", content=film).json() == {"taken": "photo-001.mp4"}
    film = b"\x00\x00\x00\x14ftypqt  \x00\x00\x02\x00qt  " + bytes(64)
    assert browser.post("/drop/photo", content=film).json() == {"taken": "photo-002.mov"}


def test_a_full_job_takes_no_more(browser: Asking, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(photos_of, "MOST_PHOTOS", 2)
    for shade in (10, 20):
        assert "taken" in browser.post("/drop/photo", content=jpeg(shade)).json()
    answer = browser.post("/drop/photo", content=jpeg(30))
    assert "as many as it can hold" in answer.json()["refused"]


def test_what_never_arrived_whole_goes_after_an_hour(browser: Asking, session: RoomSession) -> None:
    arriving = session.job() / ".fitkit" / "arriving"
    arriving.mkdir()
    for name, age_s in (("given-up", 4000.0), ("on-its-way", 10.0)):
        (arriving / name).write_bytes(jpeg(10)[:40])
        os.utime(arriving / name, (time.time() - age_s,) * 2)
    browser.post("/drop/photo", content=jpeg(10))
    assert [path.name for path in arriving.iterdir()] == ["on-its-way"]


def test_a_job_at_work_says_so(browser: Asking, session: RoomSession) -> None:
    with open_job(session.job()).locked("scan"):
        answer = browser.post("/drop/photo", content=jpeg(10))
    assert "(scan) has been working on the job" in answer.json()["refused"]


def test_thumbnails_carry_pixels_only(browser: Asking) -> None:
    content = jpeg(10, side_px=900)
    assert b"Heronry" in content
    browser.post("/drop/photo", content=content)
    answer = browser.get("/photo/photo-001.jpg")
    assert b"Heronry" not in answer.content
    with Image.open(io.BytesIO(answer.content)) as small:
        assert max(small.size) <= 400


@pytest.mark.parametrize(
    "path",
    [
        "/photo/..%2F..%2Fjob.toml",
        "/photo/job.toml",
        "/photo/%2e%2e",
        "/made/scan/..%2Fjob.toml",
        "/made/..%2F..%2Fetc/passwd",
        "/made/pages/templates.pdf",
        "/made/nothing/x",
    ],
)
def test_no_address_reaches_a_file_that_was_not_made(browser: Asking, path: str) -> None:
    assert browser.get(path).status_code == 404


def test_a_photo_set_aside_comes_back(browser: Asking, session: RoomSession) -> None:
    for shade in (10, 20):
        browser.post("/drop/photo", content=jpeg(shade))
    photos_of.set_photo_aside(session.job(), "photo-001.jpg")
    assert [photo.name for photo in photos_of.job_photos(session.job())] == ["photo-002.jpg"]
    assert browser.post("/drop/photo", content=jpeg(30)).json() == {"taken": "photo-003.jpg"}
    assert photos_of.bring_back_photos(session.job()) == 1
    assert [photo.name for photo in photos_of.job_photos(session.job())] == [
        "photo-001.jpg",
        "photo-002.jpg",
        "photo-003.jpg",
    ]
