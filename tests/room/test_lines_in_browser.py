"""The stop *lines* in a real browser: drawn by mouse, touch and keyboard, seen in the job.

What the view shows is asked of it as values, not read off its pixels.
"""

from __future__ import annotations

import io
import math
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from fitkit.job.body_files import body_files
from fitkit.job.job_folder import open_job
from fitkit.job.made_from import FileDigests
from fitkit.workflow.edit_job import add_row, list_rows, remove_row
from tests.patch.upright import cylinder_form
from tests.room.browser import (
    at_rest,
    launched_browser,
    open_room_of,
    spot,
    waits_until,
    watched_page,
)

pytestmark = pytest.mark.slow

TEXT = """\
format = 1

[job]
name = "Heron Warden"

[[line]]
name = "low" # the hem
kind = "level"
height_mm = 100

[[line]]
name = "high"
kind = "level"
height_mm = 300
"""
VIEW = "document.querySelector('.fk-view').view"
# The front of the cylinder faces -y; its left is +x.
LEFT_LOW, LEFT_HIGH = (50.0, -86.0, 80.0), (50.0, -86.0, 320.0)
RIGHT_LOW, RIGHT_HIGH = (-50.0, -86.0, 80.0), (-50.0, -86.0, 320.0)
MIDDLE = (0.0, -100.0, 200.0)


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with launched_browser() as launched:
        yield launched


@pytest.fixture(scope="module")
def room(tmp_path_factory: pytest.TempPathFactory, browser: Any) -> Iterator[tuple[Path, str]]:  # noqa: ARG001  without a browser no room is opened
    folder = tmp_path_factory.mktemp("rooms") / "heron"
    folder.mkdir()
    (folder / "job.toml").write_text(TEXT, encoding="utf-8")
    job = open_job(folder)
    picture = io.BytesIO()
    Image.new("RGB", (40, 30), "white").save(picture, "PNG")
    with job.locked("test"):
        digests = FileDigests(folder)
        job.keep_result("body", body_files(cylinder_form().body), inputs={}, digests=digests)
        templates = {"01-belly-plate.png": picture.getvalue()}
        job.keep_result("templates", templates, inputs={}, digests=digests)
    with open_room_of(folder) as address:
        yield folder, address


@pytest.fixture
def folder(room: tuple[Path, str]) -> Path:
    (room[0] / "job.toml").write_text(TEXT, encoding="utf-8")
    return room[0]


@pytest.fixture
def page(browser: Any, room: tuple[Path, str], folder: Path) -> Iterator[Any]:  # noqa: ARG001  the job as it was
    with watched_page(browser, room[1]) as opened:
        to_lines(opened)
        yield opened


def to_lines(page: Any) -> None:
    page.goto(f"{page.here}/lines")
    page.wait_for_selector(".fk-view[data-state=ready]")
    shows_lines(page, "line low", "line high")
    page.get_by_role("button", name="Choose", exact=True).click()
    page.get_by_role("status").filter(has_text="Click a line or a patch").wait_for()
    page.get_by_role("button", name="Front").click()


def shows_lines(page: Any, *names: str) -> None:
    told = ",".join(f"'{name}'" for name in sorted(names))
    lines = f"Object.keys({VIEW}.state().lines).filter(n => !n.startsWith('ahead')).sort()"
    page.wait_for_function(f"() => String({lines}) === String([{told}])")


def state(page: Any) -> dict[str, Any]:
    found: dict[str, Any] = page.evaluate(f"{VIEW}.state()")
    return found


def click(page: Any, point: tuple[float, float, float]) -> None:
    page.mouse.click(*spot(page, point))


def take(page: Any, tool: str, says: str) -> None:
    page.get_by_role("button", name=tool, exact=True).click()
    page.get_by_role("status").filter(has_text=says).wait_for()


def draw(page: Any, *points: tuple[float, float, float]) -> None:
    take(page, "Draw a line", "where the line begins")
    for number, point in enumerate(points):
        click(page, point)
        if number == 0:
            page.wait_for_function(f"() => 'first' in {VIEW}.state().discs")
    page.get_by_role("button", name="Done", exact=True).click()


def lines(folder: Path) -> list[str]:
    return [row["name"] for row in list_rows(folder, "line")]


def test_lines_drawn_by_clicks_bound_a_patch_that_is_undone_and_redone(
    page: Any, folder: Path
) -> None:
    draw(page, RIGHT_LOW, RIGHT_HIGH)
    shows_lines(page, "line low", "line high", "line line")
    draw(page, LEFT_LOW, LEFT_HIGH)
    shows_lines(page, "line low", "line high", "line line", "line line 2")
    draw(page, (-20.0, -98.0, 350.0), (20.0, -98.0, 350.0))
    shows_lines(page, "line low", "line high", "line line", "line line 2", "line line 3")
    waits_until(page, lambda: lines(folder) == ["low", "high", "line", "line 2", "line 3"])
    take(page, "Name a patch", "Click inside")
    click(page, MIDDLE)
    page.wait_for_function(f"() => {VIEW}.state().meshes.region?.triangles > 20")
    page.get_by_label("Name of the new patch").fill("belly plate")
    page.keyboard.press("Enter")
    page.wait_for_function(f"() => {VIEW}.state().meshes['patch belly plate']?.triangles > 20")
    (patch,) = list_rows(folder, "patch")
    assert set(patch["lines"]) == {"low", "high", "line", "line 2"}
    assert "# the hem" in (folder / "job.toml").read_text(encoding="utf-8")

    # Pointing at the patch lights up its template, and the other way round.
    template = page.locator("[data-patch='belly plate']")
    take(page, "Choose", "Click a line or a patch")
    page.get_by_role("button", name="low 628 mm").click()
    page.mouse.move(*spot(page, MIDDLE))
    page.wait_for_function("() => document.querySelector('.fk-template.fk-lit')")
    page.mouse.move(5, 5)
    page.wait_for_function("() => !document.querySelector('.fk-template.fk-lit')")
    template.hover()
    page.wait_for_function(f"() => {VIEW}.state().marked.includes('patch belly plate')")

    for _ in range(4):
        page.get_by_role("button", name="Undo").click()
    waits_until(page, lambda: (folder / "job.toml").read_text(encoding="utf-8") == TEXT)
    shows_lines(page, "line low", "line high")
    page.get_by_role("button", name="Redo").click()
    shows_lines(page, "line low", "line high", "line line")


def test_turning_the_body_is_no_click(page: Any, folder: Path) -> None:
    take(page, "Draw a line", "where the line begins")
    eye = state(page)["eye"]
    x, y = spot(page, MIDDLE)
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + 60, y, steps=4)
    page.mouse.move(x, y, steps=4)
    page.mouse.move(x + 40, y + 5, steps=4)
    page.mouse.up()
    assert state(page)["eye"] != eye
    take(page, "Name a patch", "Click inside")  # what was done before has been heard by then
    take(page, "Draw a line", "where the line begins")
    assert "first" not in state(page)["discs"]
    assert (folder / "job.toml").read_text(encoding="utf-8") == TEXT


def test_the_line_is_seen_before_it_is_laid(page: Any, folder: Path) -> None:
    take(page, "Draw a line", "where the line begins")
    click(page, RIGHT_LOW)
    page.wait_for_function(f"() => 'first' in {VIEW}.state().discs")
    page.get_by_label("On both sides").check()
    page.mouse.move(*spot(page, MIDDLE))
    page.wait_for_function(f"() => 'ahead 0' in {VIEW}.state().lines")
    page.mouse.move(*spot(page, (-40.0, -91.0, 250.0)))
    page.wait_for_function(f"() => 'ahead 1' in {VIEW}.state().lines")
    click(page, RIGHT_HIGH)
    shows_lines(page, "line low", "line high", "line line", "line line mirrored")
    waits_until(page, lambda: lines(folder) == ["low", "high", "line", "line mirrored"])
    page.get_by_label("On both sides").uncheck()


def test_fingers_draw(page: Any, folder: Path) -> None:
    take(page, "Draw a line", "where the line begins")
    page.touchscreen.tap(*spot(page, RIGHT_LOW))
    page.wait_for_function(f"() => 'first' in {VIEW}.state().discs")
    page.touchscreen.tap(*spot(page, RIGHT_HIGH))
    shows_lines(page, "line low", "line high", "line line")
    waits_until(page, lambda: lines(folder) == ["low", "high", "line"])


def test_a_place_is_dragged(page: Any, folder: Path) -> None:
    draw(page, RIGHT_LOW, RIGHT_HIGH)
    page.wait_for_function(f"() => 'place 2' in {VIEW}.state().discs")
    page.mouse.move(*spot(page, RIGHT_HIGH))
    page.mouse.down()
    to = (-20.0, -98.0, 340.0)
    page.mouse.move(*spot(page, to), steps=5)
    page.mouse.up()
    page.wait_for_function(f"() => Math.abs({VIEW}.state().discs['place 2'].at[2] - 340) < 4")
    waits_until(page, lambda: lines(folder) == ["low", "high", "line"])
    waits_until(page, lambda: list_rows(folder, "line")[2]["points"][1]["height_mm"] > 335)


def test_everything_goes_by_keyboard(page: Any, folder: Path) -> None:
    canvas = page.locator(".fk-view-canvas")
    page.get_by_role("button", name="Draw a line").focus()
    page.keyboard.press("Enter")
    page.get_by_role("status").filter(has_text="where the line begins").wait_for()
    canvas.focus()
    page.keyboard.press("f")
    page.keyboard.press("Enter")
    page.wait_for_function(f"() => 'first' in {VIEW}.state().discs")
    for _ in range(3):
        page.keyboard.press("ArrowRight")
    page.keyboard.press("+")
    page.keyboard.press("Shift+ArrowUp")
    page.keyboard.press("Enter")
    shows_lines(page, "line low", "line high", "line line")
    page.keyboard.press("Escape")
    page.get_by_role("status").filter(has_text="where the line begins").wait_for()

    numbers = page.get_by_label("Place by numbers")
    numbers.focus()
    page.keyboard.type("120@200")
    page.keyboard.press("Enter")
    page.wait_for_function(f"() => 'first' in {VIEW}.state().discs")
    page.keyboard.type("280@200")
    page.keyboard.press("Enter")
    shows_lines(page, "line low", "line high", "line line", "line line 2")
    waits_until(page, lambda: len(lines(folder)) == 4)
    points = list_rows(folder, "line")[3]["points"]
    assert [point["height_mm"] for point in points] == [120.0, 280.0]

    canvas.focus()
    page.keyboard.press("Delete")
    shows_lines(page, "line low", "line high", "line line")
    page.keyboard.press("Control+z")
    shows_lines(page, "line low", "line high", "line line", "line line 2")
    page.keyboard.press("Control+y")
    shows_lines(page, "line low", "line high", "line line")


def test_a_level_follows_the_slider_and_the_number(page: Any, folder: Path) -> None:
    page.get_by_role("button", name="low 628 mm").click()
    slider = page.get_by_role("slider", name="Height over the floor")
    slider.focus()
    page.keyboard.press("ArrowRight")
    waits_until(page, lambda: list_rows(folder, "line")[0]["height_mm"] == 101.0)
    number = page.get_by_role("textbox", name="Height over the floor, mm, as a number")
    waits_until(page, lambda: number.input_value() == "101")
    number.fill("15 cm")
    number.press("Tab")
    waits_until(page, lambda: list_rows(folder, "line")[0]["height_mm"] == 150.0)
    shown = "document.querySelector('.fk-slid input[type=text]').value === '150'"
    page.wait_for_function(f"() => {shown}")
    number.fill("nowhere")
    number.press("Tab")
    page.get_by_text("is not a length").first.wait_for()
    page.wait_for_function(f"() => {shown}")
    assert "# the hem" in (folder / "job.toml").read_text(encoding="utf-8")


def test_a_second_tab_and_a_reload_show_the_same(
    page: Any, browser: Any, room: tuple[Path, str]
) -> None:
    with watched_page(browser, room[1]) as second:
        to_lines(second)
        draw(page, RIGHT_LOW, RIGHT_HIGH)
        shows_lines(second, "line low", "line high", "line line")
        second.get_by_role("button", name="Undo").click()
        shows_lines(page, "line low", "line high")
    take(page, "Draw a line", "where the line begins")
    click(page, RIGHT_LOW)
    page.wait_for_function(f"() => 'first' in {VIEW}.state().discs")
    page.reload()
    page.wait_for_function(f"() => {VIEW} && 'first' in {VIEW}.state().discs")


def test_it_draws_only_when_something_changed(page: Any) -> None:
    page.mouse.move(5, 5)
    page.wait_for_function(f"() => {VIEW}.state().meshes.body?.triangles > 50")
    frames = at_rest(page)
    assert at_rest(page) == frames
    page.mouse.move(*spot(page, MIDDLE))  # the ring under the pointer is drawn
    page.wait_for_function(f"() => {VIEW}.frames > {frames}")


def test_a_press_and_typing_go_on_while_the_page_is_built_anew(page: Any, folder: Path) -> None:
    """Another program changes the job between press and release, and between two letters."""
    low = page.get_by_role("button", name="low 628 mm").bounding_box()
    page.mouse.move(low["x"] + 0.5 * low["width"], low["y"] + 0.5 * low["height"])
    page.mouse.down()
    add_row(folder, "line", {"name": "belt", "kind": "level", "height_mm": 200})
    shows_lines(page, "line low", "line high", "line belt")
    page.get_by_role("button", name="belt 628 mm").wait_for()
    page.mouse.up()
    page.wait_for_function(f"() => {VIEW}.state().marked.includes('line low')")

    name = page.get_by_role("textbox", name="Name", exact=True)
    page.wait_for_function("() => document.querySelector('.fk-card input')?.value === 'low'")
    name.select_text()
    page.keyboard.type("he")
    remove_row(folder, "line", "belt")
    shows_lines(page, "line low", "line high")
    page.keyboard.type("m")
    page.keyboard.press("Enter")
    shows_lines(page, "line hem", "line high")


def touches(hand: Any, phase: str, *places: tuple[float, float]) -> None:
    points = [{"x": x, "y": y, "id": number} for number, (x, y) in enumerate(places)]
    hand.send("Input.dispatchTouchEvent", {"type": phase, "touchPoints": points})


def test_two_fingers_come_nearer_and_neither_draw_nor_drag(page: Any, folder: Path) -> None:
    draw(page, RIGHT_LOW, RIGHT_HIGH)
    page.wait_for_function(f"() => 'place 2' in {VIEW}.state().discs")
    take(page, "Draw a line", "where the line begins")
    hand, before = page.context.new_cdp_session(page), state(page)
    (x, y), (u, v) = spot(page, MIDDLE), spot(page, RIGHT_HIGH)
    touches(hand, "touchStart", (x, y))
    touches(hand, "touchStart", (x, y), (x + 40, y))
    for step in range(1, 6):
        touches(hand, "touchMove", (x - 8 * step, y), (x + 40 + 8 * step, y))
    touches(hand, "touchEnd")
    away = f"Math.hypot(...{VIEW}.state().eye.map((value, i) => value - [0, 0, 200][i]))"
    far = math.dist(before["eye"], (0.0, 0.0, 200.0))
    page.wait_for_function(f"() => {away} < {0.8 * far}")
    assert "first" not in state(page)["discs"]

    # A place in hand is put back where a second finger comes down.
    page.get_by_role("button", name="Front").click()
    page.wait_for_function(f"() => {away} > {0.95 * far}")
    touches(hand, "touchStart", (u, v))
    touches(hand, "touchMove", (u + 30, v - 20))
    touches(hand, "touchStart", (u + 30, v - 20), (u + 80, v))
    touches(hand, "touchEnd")
    place = f"{VIEW}.state().discs['place 2'].at"
    page.wait_for_function(f"() => Math.abs({place}[2] - 320) < 1")
    assert list_rows(folder, "line")[2]["points"][1]["height_mm"] == pytest.approx(320, abs=1)


def test_a_pen_may_tremble(page: Any, folder: Path) -> None:
    take(page, "Draw a line", "where the line begins")
    hand = page.context.new_cdp_session(page)

    def pen(kind: str, x: float, y: float) -> None:
        told = {"x": x, "y": y, "button": "left", "clickCount": 1, "pointerType": "pen"}
        hand.send("Input.dispatchMouseEvent", {"type": kind, **told})

    for number, point in enumerate((RIGHT_LOW, RIGHT_HIGH)):
        x, y = spot(page, point)
        pen("mousePressed", x, y)
        pen("mouseMoved", x + 4, y + 4)  # a mouse that is moved so far turns the body
        pen("mouseReleased", x + 4, y + 4)
        if number == 0:
            page.wait_for_function(f"() => 'first' in {VIEW}.state().discs")
    shows_lines(page, "line low", "line high", "line line")
    waits_until(page, lambda: lines(folder) == ["low", "high", "line"])


_CUT_OFF = """() => {
    const context = document.createElement("canvas").getContext("2d");
    const cut = [];
    for (const select of document.querySelectorAll(".fk-edge select")) {
        const style = getComputedStyle(select);
        context.font = style.font;
        const words = context.measureText(select.selectedOptions[0].text).width;
        const sides = parseFloat(style.paddingLeft) + parseFloat(style.paddingRight);
        // The arrow takes up as much as a letter is high.
        const arrow = parseFloat(style.fontSize);
        if (words + sides + arrow > select.clientWidth) cut.push(select.selectedOptions[0].text);
    }
    return cut;
}"""


def test_the_rivet_of_an_edge_and_its_metal_are_shown_whole(page: Any, folder: Path) -> None:
    draw(page, LEFT_LOW, LEFT_HIGH)
    shows_lines(page, "line low", "line high", "line line")
    draw(page, RIGHT_LOW, RIGHT_HIGH)
    shows_lines(page, "line low", "line high", "line line", "line line 2")
    take(page, "Name a patch", "Click inside")
    click(page, MIDDLE)
    page.get_by_label("Name of the new patch").fill("belly plate")
    page.keyboard.press("Enter")
    waits_until(page, lambda: len(list_rows(folder, "patch")) == 1)
    edge = page.locator(".fk-edge").filter(has_text="line 2")
    edge.get_by_label("line 2", exact=True).select_option(label="riveted lap")
    edge.get_by_label("Metal", exact=True).select_option(label="stainless")
    waits_until(
        page,
        lambda: (
            list_rows(folder, "patch")[0]["edges"] == {"line 2": {"rivets": "blind 3.2 stainless"}}
        ),
    )
    assert page.evaluate(_CUT_OFF) == []
