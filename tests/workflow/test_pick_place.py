"""A ray finds the place, the line, the landmark and the patch it means, and tells it as written."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from fitkit.job.body_files import body_files
from fitkit.job.job_folder import open_job
from fitkit.job.made_from import FileDigests
from fitkit.workflow.design_view import LinesView, redrawn_lines, view_lines, view_patches
from fitkit.workflow.draw_line import (
    drawn_row,
    free_name,
    has_twin,
    leaning_lines,
    mirrored_row,
    next_leg,
    parallel_row,
    twin_name,
)
from fitkit.workflow.edit_job import (
    add_rows,
    anchor_values,
    anchor_words,
    extend_line,
    list_rows,
)
from fitkit.workflow.pick_place import Picked, Ray, pick, place_of
from fitkit.workflow.step_edit import step_edit
from tests.patch.upright import form_of
from tests.truth.solids import cylinder
from tests.workflow.test_design_view import TEXT

PX = 0.001  # half the width meant, at a distance of 1


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("job")
    (folder / "job.toml").write_text(TEXT, encoding="utf-8")
    job = open_job(folder)
    body = form_of(cylinder(100.0, 400.0, 12.0), navel=(0.0, -100.0, 250.0)).body
    with job.locked("test"):
        job.keep_result("body", body_files(body), inputs={}, digests=FileDigests(folder))
    return folder


@pytest.fixture(scope="module")
def lines(folder: Path) -> LinesView:
    return view_lines(open_job(folder))


def ray(x_mm: float, z_mm: float, reach: float = PX) -> Ray:
    return Ray((x_mm, -3000.0, z_mm), (0.0, 2.0, 0.0), reach)


def picked(lines: LinesView, x_mm: float, z_mm: float, **more: object) -> Picked:
    found = pick(lines, ray(x_mm, z_mm), **more)  # type: ignore[arg-type]
    assert found is not None
    return found


def test_the_near_side_is_met_and_beside_the_body_nothing(lines: LinesView) -> None:
    found = picked(lines, 30.0, 180.0)
    np.testing.assert_allclose(found.point.point_mm, [30.0, -95.4, 180.0], atol=0.6)
    assert pick(lines, ray(150.0, 180.0)) is None


def test_a_place_is_told_by_height_and_bearing(lines: LinesView) -> None:
    place = place_of(lines, picked(lines, 0.0, 180.0))
    assert place == {"height_mm": 180.0, "bearing_deg": 0.0}


def test_a_line_is_meant_within_reach_and_no_farther(lines: LinesView) -> None:
    # 2900 mm away, a reach of 0.001 is 2.9 mm.
    near, far = picked(lines, 0.0, 298.0), picked(lines, 0.0, 295.0)
    assert near.line == "high"
    assert far.line is None
    assert place_of(lines, near) == {"line": "high", "along": 0.0}  # a level starts at the front
    quarter = picked(lines, 99.0, 299.0, without=())
    assert quarter.along == pytest.approx(82 / 360, abs=0.01)  # 100 sin 82 degrees
    assert picked(lines, 0.0, 298.0, without={"high"}).line is None


def test_where_two_lines_cross_the_crossing_is_meant(lines: LinesView) -> None:
    found = picked(lines, 51.0, 298.5)
    assert place_of(lines, found) == {"line": "left", "crossing": "high"}
    np.testing.assert_allclose(found.meant_mm, [50.0, -86.6, 300.0], atol=0.5)
    assert picked(lines, 51.0, 290.0).crossing is None
    assert picked(lines, 51.0, 298.5, without={"left"}).crossing is None


def test_a_crossing_that_is_one_of_several_is_told_by_its_place(lines: LinesView) -> None:
    places = [{"height_mm": z, "bearing_deg": b} for z, b in ((280, 0), (320, 20), (280, 40))]
    view = redrawn_lines(lines, [drawn_row(lines, "wave", "through", places)])
    (wave,) = (line.path for line in view.drawn.lines if line.name == "wave")
    high = wave.points_mm[np.abs(wave.points_mm[:, 2] - 300.0).argmin()]
    found = picked(view, float(high[0]), 300.0)
    assert (found.crossing, found.meant_mm[2]) == (None, pytest.approx(300.0, abs=0.01))
    assert set(place_of(view, found)) == {"line", "along"}


def test_near_its_end_a_line_is_met_at_its_end(lines: LinesView) -> None:
    found = picked(lines, 51.0, 318.5)
    assert place_of(lines, found) == {"line": "left", "along": 1.0}
    np.testing.assert_allclose(found.meant_mm[2], 320.0, atol=0.01)
    assert 0.97 < picked(lines, 51.0, 315.0).along < 1.0


def test_a_landmark_goes_before_a_line(lines: LinesView) -> None:
    assert picked(lines, 1.0, 251.0).landmark is None
    found = picked(lines, 1.0, 251.0, landmarks=True)
    assert place_of(lines, found) == {"landmark": "navel"}


def test_the_patch_is_told(lines: LinesView) -> None:
    patches = view_patches(lines)
    assert picked(lines, 0.0, 180.0, patches=patches).patch == "belly"
    assert picked(lines, 70.0, 180.0, patches=patches).patch is None


def test_a_line_may_not_lean_on_those_that_lean_on_it(lines: LinesView) -> None:
    assert leaning_lines(lines, "right") == {"right", "left"}
    assert leaning_lines(lines, "left") == {"left"}


def test_the_next_leg_is_shown_on_both_sides(lines: LinesView) -> None:
    places = [{"height_mm": 120, "bearing_deg": 40}, {"height_mm": 150, "bearing_deg": 60}]
    to = {"height_mm": 150, "bearing_deg": 90}
    leg, twin = next_leg(lines, "geodesic", places, to, other_side=True)
    assert leg.length_mm() == pytest.approx(100 * np.pi / 6, rel=0.01)  # from the last place only
    np.testing.assert_allclose(twin.points_mm[-1], [-100.0, 0.0, 150.0], atol=1.0)
    (smooth,) = next_leg(lines, "through", places, to)
    assert smooth.length_mm() > leg.length_mm() + 30.0
    assert [design.name for design in lines.told] == ["low", "high", "right", "left"]


def test_a_circle_runs_through_the_second_place(lines: LinesView) -> None:
    places = [{"height_mm": 200, "bearing_deg": 180}, {"height_mm": 200, "bearing_deg": 210}]
    row = drawn_row(lines, "boss", "round", places)
    assert row["radius_mm"] == pytest.approx(100 * np.pi / 6, rel=0.01)
    drawn = redrawn_lines(lines, [row]).drawn.lines[-1]
    assert drawn.path.closed
    beside = parallel_row(redrawn_lines(lines, [row]), "boss")
    assert (beside["name"], beside["towards"]) == ("beside boss", "out")
    assert redrawn_lines(redrawn_lines(lines, [row]), [beside]).drawn.lines[-1].path.closed
    assert parallel_row(lines, "low")["towards"] == "up"


def test_names_and_twins(lines: LinesView) -> None:
    assert free_name("line", ["line", "line 2"]) == "line 3"
    assert twin_name("left hem") == "right hem"
    assert twin_name("hem") == "hem mirrored"
    told = {name: has_twin(lines, name) for name in ("low", "right", "left")}
    assert told == {"low": True, "right": True, "left": True}


@pytest.mark.parametrize(
    "words",
    ["1200@30", "left arm:0.5@90", "on waist", "on waist:0.25", "on waist/left side", "navel"],
)
def test_words_of_a_place_are_read_back(words: str) -> None:
    assert anchor_words(anchor_values(words)) == words


def test_two_rows_are_one_change_and_a_line_runs_on(folder: Path, lines: LinesView) -> None:
    before = (folder / "job.toml").read_text(encoding="utf-8")
    places = [{"height_mm": 120, "bearing_deg": 40}, {"height_mm": 150, "bearing_deg": 60}]
    add_rows(
        folder, "line", [drawn_row(lines, "rib", "through", places), mirrored_row("rib 2", "rib")]
    )
    extend_line(folder, "rib", {"height_mm": 180, "bearing_deg": 60})
    rib = next(row for row in list_rows(folder, "line") if row["name"] == "rib")
    assert [point["height_mm"] for point in rib["points"]] == [120.0, 150.0, 180.0]
    step_edit(folder, back=True)
    step_edit(folder, back=True)
    assert (folder / "job.toml").read_text(encoding="utf-8") == before
