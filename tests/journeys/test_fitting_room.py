"""The maker's course in a real browser: dropped photos to a printed page, by mouse, key and touch.

The room runs as a maker starts it, in a process of its own. Every page fails its test on a
console error or a request to anywhere else.
"""

from __future__ import annotations

import io
import socket
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pypdfium2 as pdfium
import pytest

from fitkit.export.body_picture import png_of_body
from fitkit.job.body_files import body_files
from fitkit.job.job_folder import open_job
from fitkit.job.made_from import FileDigests
from fitkit.workflow.job_photos import job_photos
from tests.patch.upright import cylinder_form
from tests.room.browser import launched_browser, open_room_of, waits_until, watched_page

pytestmark = pytest.mark.slow

PHOTOS = Path(__file__).parents[2] / "sample_scans" / "heron_warden" / "photos"
WORK = "[role=status][aria-label='Work going on']"
TEXT = """\
format = 1

[job]
name = "Heron Belt"

[body]
from_tape = "men" # a round stand-in is put in its place below

[wearer.tape]
waist = "80 cm"
hip = "95 cm"

[form]
clearance_mm = 4

[[line]]
name = "hem"
kind = "level"
height_mm = 100

[[line]]
name = "top"
kind = "level"
height_mm = 300

[[line]]
name = "left"
kind = "geodesic"
points = [{ height_mm = 80, bearing_deg = 60 }, { height_mm = 320, bearing_deg = 60 }]

[[line]]
name = "right"
kind = "geodesic"
points = [{ height_mm = 80, bearing_deg = 300 }, { height_mm = 320, bearing_deg = 300 }]

[[patch]]
name = "belly plate"
lines = ["hem", "top", "left", "right"]
inside = { height_mm = 200, bearing_deg = 0 }
material = "card"
thickness_mm = 0.5

[nest]
seconds = 1
"""


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with launched_browser() as launched:
        yield launched


@pytest.fixture(scope="module")
def shelf(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with one job that has a body, lines and a patch, and nothing made of them."""
    shelf = tmp_path_factory.mktemp("shelf")
    folder = shelf / "belt"
    folder.mkdir()
    (folder / "job.toml").write_text(TEXT, encoding="utf-8")
    job, body = open_job(folder), cylinder_form().body
    with job.locked("test"):
        digests = FileDigests(folder)
        files = {**body_files(body), "body.png": png_of_body(body.mesh)}
        job.keep_result("body", files, inputs=job.inputs("body", digests), digests=digests)
    return shelf


@pytest.fixture(scope="module")
def address(shelf: Path, browser: Any) -> Iterator[str]:  # noqa: ARG001  skipped without a browser
    with open_room_of(None, shelf=shelf) as opened:
        yield opened


@pytest.fixture
def page(browser: Any, address: str) -> Iterator[Any]:
    with watched_page(browser, address) as opened:
        yield opened


def open_belt(page: Any) -> None:
    to_the_jobs(page)
    page.get_by_role("button", name="Open Heron Belt").click()
    page.get_by_role("navigation").wait_for()


def to_the_jobs(page: Any) -> None:
    page.wait_for_load_state("networkidle")
    page.goto(page.here)
    page.get_by_role("heading", name="Jobs").wait_for()


def to(page: Any, stop: str) -> None:
    page.get_by_role("navigation").get_by_role("link", name=stop).click()
    page.get_by_role("heading", name=stop, level=1).wait_for()


def ends(page: Any) -> None:
    """Wait until the work that goes on has ended."""
    page.wait_for_function(f'() => !document.querySelector("{WORK}")', timeout=240_000)


def test_dropped_photos_are_in_the_job_and_a_scan_survives_a_reload_and_is_stopped(
    page: Any, browser: Any, address: str, shelf: Path
) -> None:
    to_the_jobs(page)
    page.get_by_label("What it is called").fill("../../Heron: Warden!")
    page.get_by_label("Who wears it").fill("Robin")
    page.get_by_role("button", name="Begin").click()
    page.wait_for_url("**/photos")
    folder = shelf / "heron-warden"
    assert open_job(folder).settings.wearer.name == "Robin"

    chosen = sorted(PHOTOS.glob("*.jpg"))[:5]
    page.set_input_files(".fk-drop input[multiple]", [*map(str, chosen), __file__])
    page.get_by_text("neither a photo nor a film").first.wait_for()
    page.get_by_role("heading", name="5 photos: 5 not scanned yet").wait_for()
    names = [photo.name for photo in job_photos(folder)]
    assert names == [f"photo-{number:03d}.jpg" for number in range(1, 6)]
    seen = "[...document.querySelectorAll('.fk-photo img')].filter(i => i.naturalWidth).length > 3"
    page.wait_for_function(f"() => {seen}")

    page.get_by_role("textbox", name="Across, mm").fill("180.4")
    page.keyboard.press("Tab")
    page.keyboard.type("20 cm")
    page.keyboard.press("Enter")
    page.wait_for_function("() => document.querySelector('[data-key=\"Up, mm\"]').value === '200'")
    assert open_job(folder).settings.capture.printed_mm == (180.4, 200.0)

    place = page.get_by_role("heading", name="Photos", level=1).bounding_box()
    page.get_by_role("button", name="Make the scan").click()
    page.wait_for_selector(WORK)
    assert page.get_by_role("heading", name="Photos", level=1).bounding_box() == place
    page.reload()
    page.wait_for_selector(WORK)
    with watched_page(browser, address) as second:
        second.goto(f"{second.here}/body")
        second.wait_for_selector(WORK)
        second.get_by_role("progressbar").wait_for()
        to(second, "Flat")  # the pages are live meanwhile
        second.get_by_role("button", name="Stop").click()
        second.get_by_text("was stopped").wait_for()
    page.get_by_text("was stopped").wait_for()
    page.get_by_role("button", name="Close").click()
    assert not (folder / "scan").exists()
    with open_job(folder).locked("test"):
        pass  # nobody holds it any more
    page.get_by_role("heading", name="5 photos: 5 not scanned yet").wait_for()


def test_two_photos_are_refused_with_cause_and_remedy(page: Any, shelf: Path) -> None:
    folder = shelf / "pair"
    to_the_jobs(page)
    page.get_by_label("What it is called").fill("pair")
    page.get_by_role("button", name="Begin").click()
    page.wait_for_url("**/photos")
    page.set_input_files(".fk-drop input[multiple]", [str(p) for p in sorted(PHOTOS.iterdir())[:2]])
    page.get_by_role("heading", name="2 photos").wait_for()
    page.get_by_role("button", name="Set photo-001.jpg aside").click()
    page.get_by_role("heading", name="1 photo").wait_for()
    page.get_by_role("button", name="Bring back 1 set aside").click()
    page.get_by_role("heading", name="2 photos").wait_for()
    page.get_by_role("button", name="Make the scan").click()
    alert = page.get_by_role("alert").filter(has_text="Scanning went wrong")
    alert.wait_for(timeout=120_000)
    assert "photo" in alert.inner_text()
    assert not (folder / "scan").exists()


def test_from_lines_to_the_printed_page(page: Any, shelf: Path, tmp_path: Path) -> None:
    folder = shelf / "belt"
    open_belt(page)
    to(page, "Paper and shop")
    page.get_by_role("button", name="Draw the pages").click()
    page.get_by_role("link", name="Save the pages as PDF").wait_for(timeout=240_000)
    ends(page)
    with page.expect_download() as caught:
        page.get_by_role("link", name="Save the pages as PDF").click()
    saved = tmp_path / "templates.pdf"
    caught.value.save_as(saved)
    assert caught.value.suggested_filename == "templates.pdf"
    assert saved.read_bytes() == (folder / "out" / "templates.pdf").read_bytes()
    with pdfium.PdfDocument(io.BytesIO(saved.read_bytes())) as printed:
        told = "".join(sheet.get_textpage().get_text_range() for sheet in printed)
    assert "belly plate" in told

    to(page, "Flat")
    page.get_by_role("heading", name="belly plate, laid flat").wait_for()
    plate = "document.querySelector('.fk-view')?.view?.state().meshes['belly plate']"
    page.wait_for_function(f"() => {plate}?.triangles > 50")
    held = page.get_by_role("group", name="Lines that keep their true length")
    held.get_by_label("hem").check()
    page.get_by_role("button", name="Lay flat").wait_for()
    assert open_job(folder).settings.patch[0].hold == ["hem"]
    held.get_by_label("hem").uncheck()
    page.get_by_role("button", name="Lay flat").wait_for(state="detached")
    assert open_job(folder).settings.patch[0].hold == []
    page.get_by_role("button", name="Try them side by side").click()
    page.get_by_role("row", name="dish: stretch the middle").get_by_role("button").click(
        timeout=120_000
    )
    page.get_by_text("Lay it flat again").first.wait_for()
    assert open_job(folder).settings.patch[0].forming == "dish"
    page.get_by_role("button", name="Lay flat").wait_for()
    assert "out of date" in page.get_by_role("navigation").inner_text()


def test_parts_are_laid_on_sheets_and_pinned_by_key(page: Any, shelf: Path) -> None:
    folder = shelf / "belt"
    open_belt(page)
    to(page, "Sheets")
    page.get_by_label("Length, mm").fill("700")
    page.get_by_label("Width, mm").fill("500")
    page.get_by_role("button", name="Add what I have").click()
    page.get_by_role("row", name="card 0.5 mm").wait_for()
    page.get_by_role("button", name="Lay out on the sheets").click()
    page.get_by_text("It fits: 1 part on 1 sheet").wait_for(timeout=240_000)
    page.get_by_text("In all 1 part,").wait_for()
    ends(page)
    page.get_by_role("button", name="1 belly plate").press("r")
    page.get_by_text("belly plate stays there").first.wait_for()
    (pin,) = open_job(folder).settings.pinned
    assert (pin.part, pin.sheet) == ("belly plate", "card 0.5 mm")
    page.get_by_role("textbox", name="belly plate, mm from the left").fill("600")
    page.keyboard.press("Enter")
    page.get_by_text("over the edge of the sheet").first.wait_for()


def test_the_tape_list_is_filled_by_keyboard_alone(page: Any, shelf: Path) -> None:
    folder = shelf / "belt"
    open_belt(page)
    page.goto(f"{page.here}/body")
    page.get_by_role("heading", name="Body", level=1).wait_for()
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "To the work"
    page.get_by_role("textbox", name="waist by the tape, mm").focus()
    page.keyboard.press("Control+a")
    page.keyboard.type("81 cm")
    page.keyboard.press("Tab")
    page.keyboard.type("96")  # goes on in the next line, whatever is built anew meanwhile
    page.wait_for_function(
        "() => document.querySelector('[aria-label=\"waist by the tape, mm\"]').value === '810'"
    )
    page.keyboard.type("0")
    page.keyboard.press("Enter")
    waits_until(page, lambda: open_job(folder).settings.wearer.tape["hip"] == 960.0)
    assert open_job(folder).settings.wearer.tape == {"waist": 810.0, "hip": 960.0}
    assert "# a round stand-in" in (folder / "job.toml").read_text(encoding="utf-8")


def test_fingers_go_from_stop_to_stop(page: Any) -> None:
    open_belt(page)
    page.get_by_role("link", name="Flat").tap()
    page.get_by_role("heading", name="Flat", level=1).wait_for()
    sizes = page.evaluate(
        "[...document.querySelectorAll('button, a.fk-station, a.fk-download, input[type=text]')]"
        ".map(e => e.getBoundingClientRect()).filter(r => r.width).map(r => [r.width, r.height])"
    )
    assert len(sizes) > 10
    assert min(min(size) for size in sizes) >= 44.0  # WCAG 2.2, 2.5.5 target size (enhanced)


def test_nothing_grave_stands_in_the_way_of_a_reader(browser: Any, address: str) -> None:
    """What does not hang on the colours is looked for in light alone."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()

    def amiss(page: Any) -> list[Any]:
        found = list(axe.run(page).response["violations"])
        for looks in ("dark", "light"):
            page.emulate_media(color_scheme=looks)
            page.wait_for_function(
                f"() => document.body.matches('.body--dark') === {str(looks == 'dark').lower()}"
            )
            if looks == "dark":
                contrast = {"runOnly": ["color-contrast"]}
                found += axe.run(page, options=contrast).response["violations"]
        return found

    with watched_page(browser, address, color_scheme="light") as page:
        to_the_jobs(page)
        found = {"jobs": amiss(page)}
        open_belt(page)
        for stop in (
            "Photos",
            "Body",
            "Lines and patches",
            "Motion",
            "Flat",
            "Sheets",
            "Paper and shop",
        ):
            to(page, stop)
            found[stop] = amiss(page)
        page.evaluate("document.body.append(document.createElement('input'))")
        page.evaluate("document.querySelector('h1').style = 'color: #1b2730'")  # on dark alone
        seen = {one["id"] for one in amiss(page)}
    assert {"label", "color-contrast"} <= seen  # so they are seen where there are any
    grave = {
        (stop, one["id"], one["nodes"][0]["html"][:160])
        for stop, violations in found.items()
        for one in violations
        if one["impact"] in {"serious", "critical"}
    }
    assert grave == set()


def test_a_job_changed_elsewhere_shows_by_itself(page: Any, shelf: Path) -> None:
    open_belt(page)
    path = shelf / "belt" / "job.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace('"Heron Belt"', '"Heron Girdle"'), encoding="utf-8")
    page.get_by_text("Heron Girdle").wait_for()
    path.write_text(text.replace("[form]", "[from]"), encoding="utf-8")
    page.get_by_text("Do not go on:").first.wait_for(state="attached")
    path.write_text(text, encoding="utf-8")
    page.get_by_text("Heron Belt").wait_for()


# -- hostile -----------------------------------------------------------------------------------


def answered(address: str, request: str) -> str:
    """Return the status line that the real server gives to a raw request."""
    here = urlsplit(address)
    assert here.hostname is not None
    with socket.create_connection((here.hostname, here.port or 80), timeout=20) as line:
        line.sendall(request.encode())
        return line.recv(300).decode("latin-1").split("\r\n")[0]


@pytest.mark.parametrize(
    ("asked", "status"),
    [
        ("GET /photos HTTP/1.1\r\nHost: evil.example\r\n{cookie}\r\n", 403),
        ("GET /photos HTTP/1.1\r\nHost: {host}\r\n\r\n", 403),
        ("GET /docs HTTP/1.1\r\nHost: {host}\r\n{cookie}\r\n", 404),
        ("GET /openapi.json HTTP/1.1\r\nHost: {host}\r\n{cookie}\r\n", 404),
        ("GET /photo/..%2F..%2Fjob.toml HTTP/1.1\r\nHost: {host}\r\n{cookie}\r\n", 404),
        (
            "POST /drop/photo HTTP/1.1\r\nHost: {host}\r\n{cookie}Origin: http://{host}\r\n"
            "Content-Length: 5368709120\r\n\r\n",
            413,
        ),
        (
            "POST /drop/photo HTTP/1.1\r\nHost: {host}\r\n{cookie}Origin: http://evil.example\r\n"
            "Content-Length: 3\r\n\r\nabc",
            403,
        ),
        (
            "GET {socket} HTTP/1.1\r\nHost: {host}\r\n{cookie}Origin: http://evil.example\r\n"
            "{upgrade}\r\n",
            403,
        ),
        ("GET {socket} HTTP/1.1\r\nHost: {host}\r\n{cookie}{upgrade}\r\n", 403),
        ("GET {socket} HTTP/1.1\r\nHost: {host}\r\nOrigin: http://{host}\r\n{upgrade}\r\n", 403),
        (
            "GET {polling} HTTP/1.1\r\nHost: {host}\r\n{cookie}Origin: http://evil.example\r\n\r\n",
            403,
        ),
    ],
)
def test_the_real_server_refuses_strangers(address: str, asked: str, status: int) -> None:
    here = urlsplit(address)
    token = here.path.rpartition("/")[2]
    request = asked.format(
        host=here.netloc,
        cookie=f"Cookie: fitkit-room-{here.port}={token}\r\n",
        socket="/_nicegui_ws/socket.io/?EIO=4&transport=websocket",
        polling="/_nicegui_ws/socket.io/?EIO=4&transport=polling",
        upgrade="Connection: Upgrade\r\nUpgrade: websocket\r\nSec-WebSocket-Version: 13\r\n"
        "Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n",
    )
    assert answered(address, request).split(" ")[1] == str(status)


def test_the_rooms_own_websocket_is_let_in(address: str) -> None:
    """The same request as the refused ones but for its origin: what is tested is the guard."""
    here = urlsplit(address)
    token = here.path.rpartition("/")[2]
    request = (
        f"GET /_nicegui_ws/socket.io/?EIO=4&transport=websocket HTTP/1.1\r\nHost: {here.netloc}\r\n"
        f"Cookie: fitkit-room-{here.port}={token}\r\nOrigin: http://{here.netloc}\r\n"
        "Connection: Upgrade\r\nUpgrade: websocket\r\nSec-WebSocket-Version: 13\r\n"
        "Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n\r\n"
    )
    assert answered(address, request).split(" ")[1] == "101"
