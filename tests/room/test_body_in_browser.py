"""The stops *body* and *motion* in a real browser: landmarks, a dropped mesh, the body in motion.

What the view shows is asked of it as values, not read off its pixels.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from fitkit.errors import JobError
from fitkit.geometry.mesh_files import ply_bytes
from fitkit.job.body_files import read_body
from fitkit.job.job_folder import open_job
from fitkit.job.made_from import FileDigests
from fitkit.workflow.motion_job import motion_step
from tests.room.browser import launched_browser, open_room_of, spot, waits_until, watched_page
from tests.room.column_job import SCAR, column, column_job
from tests.workflow.elbow_job import elbow_job

pytestmark = pytest.mark.slow

COLUMN = column(25)
VIEW = "document.querySelector('.fk-view').view"
WORK = "[role=status][aria-label='Work going on']"


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with launched_browser() as launched:
        yield launched


@pytest.fixture(scope="module")
def shelf(tmp_path_factory: pytest.TempPathFactory, browser: Any) -> Path:  # noqa: ARG001  without a browser nothing is made
    """Return a folder with a job that has a body, and one whose joint was moved."""
    shelf = tmp_path_factory.mktemp("shelf")
    column_job(shelf / "column", 25)
    (shelf / "arm").mkdir()
    job = elbow_job(shelf / "arm")
    with job.locked("test"):
        motion_step(job, digests=FileDigests(job.folder))
    return shelf


@pytest.fixture(scope="module")
def address(shelf: Path) -> Iterator[str]:
    with open_room_of(None, shelf=shelf) as opened:
        yield opened


@pytest.fixture
def page(browser: Any, address: str) -> Iterator[Any]:
    with watched_page(browser, address) as opened:
        yield opened


def open_stop(page: Any, job: str, stop: str) -> None:
    page.wait_for_load_state("networkidle")
    page.goto(page.here)
    page.get_by_role("button", name=f"Open {job}").click()
    page.get_by_role("navigation").wait_for()
    page.goto(f"{page.here}/{stop}")
    page.wait_for_selector(".fk-view[data-state=ready]")


def told(folder: Path) -> tuple[float, ...] | None:
    return open_job(folder).settings.body.landmarks.get("scar")


def is_about(at: tuple[float, ...] | None, wanted: tuple[float, float, float]) -> bool:
    """Whether a place is another, to what a pixel of the small view is."""
    return at is not None and all(abs(a - b) < 6.0 for a, b in zip(at, wanted, strict=True))


def made_landmarks(folder: Path) -> dict[str, tuple[float, ...]] | None:
    """Return where the landmarks of the body are; None while one body gives way to the next."""
    try:
        marks = read_body(folder / "body").landmarks
    except JobError:
        return None
    return {name: tuple(mark.at_mm.tolist()) for name, mark in marks.items()}


def landmark(folder: Path) -> tuple[float, ...] | None:
    return (made_landmarks(folder) or {}).get("scar")


def is_without_scar(folder: Path) -> bool:
    marks = made_landmarks(folder)
    return marks is not None and "scar" not in marks


def to_landmarks(page: Any) -> None:
    open_stop(page, "Column", "body")
    page.get_by_role("button", name="Landmarks", exact=True).click()
    page.wait_for_function(f"() => 'scar' in {VIEW}.state().discs")
    page.wait_for_function(f"() => {VIEW}.state().meshes['the body']?.triangles > 50")
    page.get_by_role("button", name="See the body from the front").click()


def drag_by_mouse(page: Any, start: tuple[float, float], end: tuple[float, float]) -> None:
    page.mouse.move(*start)
    page.mouse.down()
    page.mouse.move(*end, steps=6)
    page.mouse.up()


def drag_by_finger(page: Any, start: tuple[float, float], end: tuple[float, float]) -> None:
    finger = page.context.new_cdp_session(page)

    def put(kind: str, *at: tuple[float, float]) -> None:
        points = [{"x": x, "y": y} for x, y in at]
        finger.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

    put("touchStart", start)
    for step in range(1, 7):
        share = step / 6
        put("touchMove", tuple(a + share * (b - a) for a, b in zip(start, end, strict=True)))  # type: ignore[arg-type]
    put("touchEnd")


def drag_by_pen(page: Any, start: tuple[float, float], end: tuple[float, float]) -> None:
    pen = page.context.new_cdp_session(page)

    def put(kind: str, at: tuple[float, float], pressed: int) -> None:
        pen.send(
            "Input.dispatchMouseEvent",
            {"type": kind, "x": at[0], "y": at[1], "pointerType": "pen", "button": "left",
             "buttons": pressed, "clickCount": 1},
        )  # fmt: skip

    put("mousePressed", start, 1)
    for step in range(1, 7):
        share = step / 6
        put("mouseMoved", tuple(a + share * (b - a) for a, b in zip(start, end, strict=True)), 1)  # type: ignore[arg-type]
    put("mouseReleased", end, 0)


def test_a_landmark_dragged_by_mouse_finger_and_pen_is_kept_and_undone(
    page: Any, shelf: Path
) -> None:
    folder = shelf / "column"
    to_landmarks(page)
    at = SCAR
    for drag, up in ((drag_by_mouse, 330.0), (drag_by_finger, 180.0), (drag_by_pen, 300.0)):
        wanted = (0.0, -120.0, up)
        drag(page, spot(page, at), spot(page, wanted))
        waits_until(page, lambda: is_about(told(folder), wanted))  # noqa: B023  asked here and now
        shown = f"Math.abs({VIEW}.state().discs.scar.at[2] - {up}) < 6"
        page.wait_for_function(f"() => {shown}")
        at = told(folder) or at
    assert "# by eye" in (folder / "job.toml").read_text(encoding="utf-8")
    for _ in range(3):
        before = told(folder)
        page.get_by_role("button", name="Undo: put the landmark 'scar' right").click()
        waits_until(page, lambda: told(folder) != before)  # noqa: B023  asked here and now
    assert told(folder) == SCAR
    page.wait_for_function(f"() => Math.abs({VIEW}.state().discs.scar.at[2] - 250) < 1")


def test_the_body_and_its_tape_follow_a_landmark_that_is_typed(page: Any, shelf: Path) -> None:
    folder = shelf / "column"
    to_landmarks(page)
    marks = page.get_by_role("group", name="Landmarks")
    marks.get_by_role("button", name="scar").click()
    page.get_by_label("Up, mm").fill("20 cm")
    page.keyboard.press("Tab")
    waits_until(page, lambda: is_about(told(folder), (0.0, -120.0, 200.0)))
    waits_until(page, lambda: is_about(landmark(folder), (0.0, -120.0, 200.0)))
    page.locator(WORK).wait_for(state="detached")
    waits_until(page, lambda: (folder / "body" / "measures.json").is_file())
    page.get_by_role("button", name="Put it by a tap").click()
    page.get_by_role("status").filter(has_text="Tap the body where the scar is").wait_for()
    page.touchscreen.tap(*spot(page, (40.0, -113.1, 300.0)))
    waits_until(page, lambda: is_about(told(folder), (40.0, -113.1, 300.0)))
    page.get_by_role("button", name="As it is found").click()
    waits_until(page, lambda: told(folder) is None)
    page.wait_for_function(f"() => !('scar' in {VIEW}.state().discs)")
    waits_until(page, lambda: is_without_scar(folder))
    page.locator(WORK).wait_for(state="detached")


def test_a_dropped_mesh_is_asked_about_and_becomes_the_body(
    page: Any, shelf: Path, tmp_path: Path
) -> None:
    folder = shelf / "column"
    small = tmp_path / "evil name.obj.ply"
    small.write_bytes(ply_bytes(COLUMN.with_vertices(0.08 * COLUMN.vertices)))
    open_stop(page, "Column", "body")
    page.set_input_files(".fk-drop input[multiple]", [str(small)])
    page.get_by_text("does not say what one of its numbers is").wait_for()
    page.get_by_label("Up in the file is").select_option("z")
    page.get_by_role("button", name="400 mm, in centimetres").click()
    waits_until(page, lambda: open_job(folder).settings.body.from_mesh == "body-mesh.ply")
    page.get_by_text("The body is that of the mesh 'body-mesh.ply'").wait_for()
    page.locator(WORK).wait_for(state="detached")
    low, high = read_body(folder / "body").mesh.bounds_mm()
    assert high[2] - low[2] == pytest.approx(400.0, abs=3.0)


def test_the_body_is_seen_in_motion_and_wishes_are_told(page: Any, shelf: Path) -> None:
    folder = shelf / "arm"
    open_stop(page, "Arm", "motion")
    page.wait_for_function(f"() => {VIEW}.state().meshes['forearm sleeve']?.triangles > 50")
    page.get_by_role("button", name="left elbow bend").click()
    touches = f"Object.keys({VIEW}.state().discs).some(n => n.includes(' on '))"
    page.wait_for_function(f"() => {touches}")
    page.get_by_text("stops the left elbow bend at 56°, wanted 110°").first.wait_for()
    page.get_by_role("button", name="At rest, 0°").click()
    page.wait_for_function(
        f"() => !Object.keys({VIEW}.state().discs).some(n => n.includes(' on '))"
    )
    page.wait_for_function(f"() => Object.keys({VIEW}.state().lines).some(n => n.includes('trim'))")
    page.get_by_label("Wanted, degrees").fill("50")
    page.keyboard.press("Tab")
    waits_until(page, lambda: open_job(folder).settings.motion.wanted == {"left elbow bend": 50.0})
    reach = page.get_by_role("checkbox", name="Reach across")  # Undo tells of it too
    reach.check()
    waits_until(
        page, lambda: open_job(folder).settings.motion.needs == ["lift a cup", "reach across"]
    )
    page.get_by_text("Something has changed since the joints were moved").wait_for()
    reach.uncheck()
    waits_until(page, lambda: open_job(folder).settings.motion.needs == ["lift a cup"])
    page.get_by_role("button", name="Move the joints").click()
    page.get_by_role("heading", name="1 of 1 free").wait_for(timeout=120_000)
