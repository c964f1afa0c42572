"""What is fitted to a patch: added, told and dragged on the stop *lines*, without a browser."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Coroutine
from pathlib import Path
from typing import Any

import pytest
from nicegui.element import Element

from fitkit.errors import FitkitError, InputError, JobError
from fitkit.job.body_files import body_files
from fitkit.job.job_folder import create_job, open_job
from fitkit.job.made_from import FileDigests
from fitkit.room.design_desk import DesignDesk, desk_of
from fitkit.room.design_state import Chosen
from fitkit.room.fitting_panel import fitting_panel
from fitkit.room.page import RoomPage
from fitkit.room.patch_panel import patch_panel
from fitkit.room.session import RoomSession
from fitkit.workflow.edit_job import list_rows, rename_row
from fitkit.workflow.fittings import FITTINGS, fittings_on, new_fitting
from fitkit.workflow.pick_place import Ray
from tests.patch.upright import cylinder_form
from tests.room.without_browser import come_about, fill, named, offered, opened_page, press, said

LINES = """\
format = 1

[job]
name = "Heron Warden"

[[line]]
name = "low"
kind = "level"
height_mm = 60

[[line]]
name = "middle"
kind = "level"
height_mm = 200

[[line]]
name = "high"
kind = "level"
height_mm = 340

[[line]]
name = "left"
kind = "geodesic"
points = [{ height_mm = 40, bearing_deg = 60 }, { height_mm = 360, bearing_deg = 60 }]

[[line]]
name = "right"
kind = "geodesic"
points = [{ height_mm = 40, bearing_deg = 300 }, { height_mm = 360, bearing_deg = 300 }]
"""
PATCHES = """
[[patch]] # over the belt
name = "girdle"
lines = ["low", "middle", "left", "right"]
inside = { height_mm = 120, bearing_deg = 0 }

[[patch]]
name = "bib"
lines = ["middle", "high", "left", "right"]
inside = { height_mm = 280, bearing_deg = 0 }
"""
EMBLEM = '<svg xmlns="http://www.w3.org/2000/svg"><path d="M0 0h10v10h-10z"/></svg>'


@pytest.fixture(scope="module")
def made() -> dict[str, bytes]:
    return dict(body_files(cylinder_form(edge_mm=25.0).body))


@pytest.fixture
def folder(tmp_path: Path, made: dict[str, bytes]) -> Path:
    job = create_job(tmp_path / "heron", LINES + PATCHES)
    with job.locked("test"):
        job.keep_result("body", made, inputs={}, digests=FileDigests(job.folder))
    return job.folder


def run(folder: Path, course: Callable[[RoomPage, DesignDesk], Coroutine[Any, Any, None]]) -> None:
    """Run a course on a page of a room of its own."""

    async def whole() -> None:
        session = RoomSession(folder.parent, folder)
        async with opened_page(session) as page:
            desk = desk_of(session)
            await desk.refresh()
            assert desk.now.fault is None
            assert desk.now.patches is not None
            await course(page, desk)

    asyncio.run(whole())


def doing(faults: list[FitkitError]) -> Callable[..., None]:
    """Return what runs acts of the desk and keeps what went wrong."""

    def do(act: Callable[..., Any], *told: Any, **named: Any) -> None:
        async def tried() -> None:
            try:
                await act(*told, **named)
            except FitkitError as error:
                faults.append(error)

        asyncio.get_running_loop().create_task(tried())

    return do


def card(page: RoomPage, desk: DesignDesk, faults: list[FitkitError]) -> Element:
    """Put what is chosen on the page, as the stop does."""

    def build() -> None:
        chosen, do = desk.now.chosen, doing(faults)
        if desk.now.chosen_patch is not None:
            patch_panel(page, desk, do, desk.now.chosen_patch)
        elif desk.now.chosen_fitting is not None and chosen is not None:
            fitting_panel(page, desk, do, desk.now.chosen_fitting[0], chosen.name)

    shown = page.live(build, of=lambda: (desk.now.chosen, desk.now.lines, desk.now.patches))
    desk.followers.add(page.look_soon, within=shown)
    return shown


def test_a_strap_is_added_told_dragged_and_taken_out(folder: Path) -> None:
    before = (folder / "job.toml").read_text(encoding="utf-8")
    faults: list[FitkitError] = []

    async def course(page: RoomPage, desk: DesignDesk) -> None:
        desk.choose("patch", "girdle")
        shown = card(page, desk, faults)
        fill(shown, "add to girdle beside 0", "strap")
        await come_about(lambda: desk.now.chosen == Chosen("strap", "girdle strap"))
        await come_about(lambda: offered(shown, "Go to 'bib'"))
        (strap,) = list_rows(folder, "strap")
        assert strap["on"] == ["girdle", "bib"]
        assert [place["height_mm"] for place in strap["at"]] == pytest.approx([130, 270], abs=20)

        fill(shown, "Wide, mm", "2 cm")
        await come_about(lambda: list_rows(folder, "strap")[0].get("width_mm") == 20.0)
        fill(shown, "Riveted with", "solid 4")
        await come_about(lambda: list_rows(folder, "strap")[0].get("rivets") == "solid 4")
        fill(shown, "Metal", "copper")
        await come_about(lambda: list_rows(folder, "strap")[0].get("rivets") == "solid 4 copper")
        fill(shown, "Riveted with", "screw 4")
        await come_about(lambda: list_rows(folder, "strap")[0].get("rivets") == "screw 4")
        await come_about(lambda: "stainless" in str(named(shown, "Metal")._props["options"]))
        fill(shown, "Metal", "stainless")
        await come_about(lambda: list_rows(folder, "strap")[0].get("rivets") == "screw 4 stainless")
        fill(shown, "Closed by", "post")
        await come_about(lambda: list_rows(folder, "strap")[0].get("closing") == "post")
        fill(shown, "Closed on", "girdle")
        await come_about(lambda: list_rows(folder, "strap")[0]["on"] == ["girdle", "girdle"])
        fill(shown, "Place 2", "300@40")
        told = {"height_mm": 300.0, "bearing_deg": 40.0}
        await come_about(lambda: list_rows(folder, "strap")[0]["at"][1] == told)
        fill(shown, "Wide, mm", "broad")
        await come_about(lambda: bool(faults))
        assert list_rows(folder, "strap")[0]["width_mm"] == 20.0

        ray = Ray((0.0, -3000.0, 150.0), (0.0, 1.0, 0.0), 0.001)
        await desk.pointing.drag(1, ray, keep=False)
        assert desk.now.held is not None
        await desk.pointing.drag(1, ray, keep=True)
        assert desk.now.held is None
        told = {"height_mm": 150.0, "bearing_deg": 0.0}
        assert list_rows(folder, "strap")[0]["at"][0] == told

        press(shown, "Go to 'girdle'")
        await come_about(lambda: "girdle strap" in said(shown))
        press(shown, "strap girdle strap")
        await come_about(lambda: desk.now.chosen == Chosen("strap", "girdle strap"))
        await come_about(
            lambda: offered(shown, "Go to 'bib'") or offered(shown, "Hole to hole, mm")
        )
        press(shown, "Take it out")
        await come_about(lambda: desk.now.chosen is None)

    run(folder, course)
    assert (folder / "job.toml").read_text(encoding="utf-8").rstrip() == before.rstrip()


@pytest.mark.parametrize("kind", [kind for kind in FITTINGS if kind != "pivot"])
def test_each_kind_is_added_where_the_job_holds_together_and_has_its_fields(
    folder: Path, kind: Any
) -> None:
    (folder / "heron.svg").write_text(EMBLEM, encoding="utf-8")
    faults: list[FitkitError] = []

    async def course(page: RoomPage, desk: DesignDesk) -> None:
        desk.choose("patch", "girdle")
        shown = card(page, desk, faults)
        for number in range(2):  # a second one has a name of its own
            fill(shown, f"add to girdle beside {number}", kind)
            await come_about(lambda: len(list_rows(folder, kind)) == number + 1)  # noqa: B023  here and now
            await come_about(lambda: desk.now.chosen_fitting is not None)
            await come_about(lambda: offered(shown, "Take it out"))
            await come_about(lambda: "Fitted to it" not in said(shown))
            desk.choose("patch", "girdle")
            await come_about(lambda: offered(shown, f"add to girdle beside {number + 1}"))  # noqa: B023  as above

    run(folder, course)
    assert faults == []
    names = [row["name"] for row in list_rows(folder, kind)]
    assert len(set(names)) == 2
    assert {one.name for one in fittings_on(open_job(folder).settings, "girdle")} == set(names)
    # What names the patch names it by its new name.
    rename_row(folder, "patch", "girdle", "belt plate")
    assert len(fittings_on(open_job(folder).settings, "belt plate")) == 2


def test_what_is_missing_for_a_fitting_is_said(folder: Path) -> None:
    async def course(page: RoomPage, desk: DesignDesk) -> None:  # noqa: ARG001  the page is not looked at
        view = desk.now.patches
        assert view is not None
        with pytest.raises(InputError, match="No drawing or picture lies in the job folder"):
            new_fitting(view, "artwork", "girdle")
        with pytest.raises(InputError, match="no joint"):
            new_fitting(view, "pivot", "girdle")
        joints = {"far": view.lines.drawn.form.mesh.vertices[0] + 900.0}
        joints["near"] = view.patches[0].label_mm
        row = new_fitting(view, "pivot", "girdle", joints=joints)
        assert row == {"patch": "girdle", "joint": "near"}

    run(folder, course)
    path = folder / "job.toml"
    path.write_text(LINES + PATCHES.split("[[patch]]\n")[0], encoding="utf-8")

    async def alone(page: RoomPage, desk: DesignDesk) -> None:  # noqa: ARG001  as above
        assert desk.now.patches is not None
        with pytest.raises(InputError, match="no second plate beside 'girdle'"):
            new_fitting(desk.now.patches, "fastener", "girdle")

    run(folder, alone)


def test_two_of_one_name_are_not_told_apart_by_the_page(folder: Path) -> None:
    path = folder / "job.toml"
    row = '\n[[hardware]]\nname = "buckle"\non = "girdle"\n'
    path.write_text(LINES + PATCHES + 2 * row, encoding="utf-8")
    assert [one.told_once for one in fittings_on(open_job(folder).settings, "girdle")] == [
        False
    ] * 2


def test_a_pivot_is_told_by_its_patch(folder: Path) -> None:
    path = folder / "job.toml"
    path.write_text(
        LINES + PATCHES + '\n[[pivot]]\npatch = "bib"\njoint = "neck"\n', encoding="utf-8"
    )

    async def course(page: RoomPage, desk: DesignDesk) -> None:
        desk.choose("pivot", "bib")
        shown = card(page, desk, [])
        fill(shown, "Screw, mm", "5")
        await come_about(lambda: open_job(folder).settings.pivot[0].screw_mm == 5.0)
        press(shown, "Put it by hand")
        await come_about(lambda: open_job(folder).settings.pivot[0].at is not None)
        await come_about(lambda: offered(shown, "Where it slides best"))
        press(shown, "Where it slides best")
        await come_about(lambda: open_job(folder).settings.pivot[0].at is None)
        await desk.editing.rename("patch", "bib", "visor")
        assert open_job(folder).settings.pivot[0].patch == "visor"
        desk.choose("pivot", "visor")
        await desk.editing.remove()
        assert open_job(folder).settings.pivot == []
        with pytest.raises(JobError, match="no pivot called 'visor'"):
            await desk.editing.tell_row("pivot", "visor", lambda: {"screw_mm": 3.0})

    run(folder, course)


def test_an_edge_is_riveted_and_the_rivets_metal_told(folder: Path) -> None:
    faults: list[FitkitError] = []

    def rivets() -> str | None:
        (girdle, _) = list_rows(folder, "patch")
        told: str | None = girdle.get("edges", {}).get("middle", {}).get("rivets")
        return told

    async def course(page: RoomPage, desk: DesignDesk) -> None:
        desk.choose("patch", "girdle")
        shown = card(page, desk, faults)
        fill(shown, "middle", "rivets")
        await come_about(lambda: rivets() == "blind 3.2" and offered(shown, "Metal"))
        fill(shown, "Metal", "copper")
        await come_about(lambda: rivets() == "blind 3.2 copper")
        fill(shown, "Metal", "aluminium")
        await come_about(lambda: rivets() == "blind 3.2")

    run(folder, course)
    assert faults == []
