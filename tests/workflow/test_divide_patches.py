"""Dividing and joining patches of a job by text: what was set stays, remarks too."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from fitkit.body.body import Landmark
from fitkit.errors import DesignError, JobError
from fitkit.flatten.cut_choice import CutChoice
from fitkit.job.body_files import body_files
from fitkit.job.cut_choice_files import choices_name, cut_choice_file
from fitkit.job.job_folder import open_job
from fitkit.job.made_from import FileDigests
from fitkit.workflow.cut_job import adopt_choice
from fitkit.workflow.divide_patches import join_patches, split_patch
from fitkit.workflow.drawn_body import draw_body
from fitkit.workflow.edit_job import add_row, change_row, list_rows
from fitkit.workflow.show_design import show_lines, show_patches
from tests.patch.upright import cylinder_form

TEXT = """\
format = 1

[job]
name = "Heron"

[[line]]
name = "low"
kind = "level"
height_mm = 100

[[line]]
name = "mid"
kind = "level"
height_mm = 200

[[line]]
name = "high"
kind = "level"
height_mm = 300

[[line]]
name = "middle"
kind = "symmetry"

[[line]]
name = "side"
kind = "geodesic"
points = [{height_mm = 80, bearing_deg = 90}, {height_mm = 320, bearing_deg = 90}]

[[patch]]
name = "breast" # the curved one
lines = ["low", "high", "middle", "side"]
inside = {height_mm = 150, bearing_deg = 40}
side = "left"
pair = true
material = "leather"
thickness_mm = 4 # two layers
grain = "up"
grain_deg = 10
edges = {low = {lap_mm = 12}, side = {lap_mm = 8}}
note = "Dye before lacing."

[[patch]]
name = "badge"
inside = {height_mm = 200, bearing_deg = 225}
radius_mm = 30
edges = {rim = {lap_mm = 5}}
"""


@pytest.fixture
def job(tmp_path: Path) -> Path:
    """Return a job whose body is a cylinder, made already."""
    (tmp_path / "job.toml").write_text(TEXT, encoding="utf-8")
    made = open_job(tmp_path)
    body = cylinder_form().body
    digests = FileDigests(tmp_path)
    with made.locked("test"):
        made.keep_result("body", body_files(body), inputs={}, digests=digests)
    return tmp_path


def patches(job: Path) -> dict[str, dict[str, object]]:
    return {str(row["name"]): row for row in list_rows(job, "patch")}


SET = ("side", "pair", "material", "thickness_mm", "grain", "grain_deg", "note")


def test_both_parts_keep_what_was_set(job: Path) -> None:
    before = patches(job)["breast"]
    report = split_patch(job, "breast", "mid", "upper breast")
    assert "'upper breast'" in report.words
    after = patches(job)
    assert list(after) == ["breast", "upper breast", "badge"]
    for name in ("breast", "upper breast"):
        assert {key: after[name][key] for key in SET} == {key: before[key] for key in SET}
    assert set(after["breast"]["lines"]) == {"low", "mid", "middle", "side"}  # type: ignore[call-overload]
    assert after["breast"]["inside"] == before["inside"]
    assert after["breast"]["edges"] == {"low": {"lap_mm": 12.0}, "side": {"lap_mm": 8.0}}
    assert after["upper breast"]["edges"] == {"side": {"lap_mm": 8.0}}
    text = (job / "job.toml").read_text(encoding="utf-8")
    assert "# the curved one" in text
    assert "# two layers" in text


def test_joining_again_restores_the_text(job: Path) -> None:
    before = patches(job)["breast"]
    split_patch(job, "breast", "mid", "upper breast")
    change_row(job, "patch", "upper breast", {"material": "foam", "edges": {"high": {"lap_mm": 3}}})
    report = join_patches(job, "breast", "upper breast")
    assert "lost: material foam" in report.words
    after = patches(job)
    assert list(after) == ["breast", "badge"]
    assert {**after["breast"], "lines": 0, "edges": 0} == {**before, "lines": 0, "edges": 0}
    assert set(after["breast"]["lines"]) == set(before["lines"])  # type: ignore[call-overload]
    edges = {"low": {"lap_mm": 12.0}, "side": {"lap_mm": 8.0}, "high": {"lap_mm": 3.0}}
    assert after["breast"]["edges"] == edges
    assert "# two layers" in (job / "job.toml").read_text(encoding="utf-8")


def test_round_patch_divides_along_a_line_through_it(job: Path) -> None:
    """Its rim becomes a line of its own, with the treatment it had."""
    ends = [{"height_mm": height, "bearing_deg": 225} for height in (150, 250)]
    add_row(job, "line", {"name": "cut", "kind": "geodesic", "points": ends})
    split_patch(job, "badge", "cut", "other half")
    after = patches(job)
    for name in ("badge", "other half"):
        assert set(after[name]["lines"]) == {"cut", "badge rim"}  # type: ignore[call-overload]
        assert after[name]["edges"] == {"badge rim": {"lap_mm": 5.0}}
        assert "radius_mm" not in after[name]
    rim = next(row for row in list_rows(job, "line") if row["name"] == "badge rim")
    assert rim["radius_mm"] == 30.0
    shown = show_patches(job)
    halves = [row for row in shown.rows if row.name != "breast"]
    assert sum(row.area_cm2 for row in halves) == pytest.approx(np.pi * 3.0**2, rel=0.01)
    assert [edge.beside for row in halves for edge in row.edges if edge.line == "cut"] == [
        ("other half",), ("badge",),
    ]  # fmt: skip


def test_what_was_set_goes_to_the_part_it_lies_in(job: Path) -> None:
    """Cuts and attachments by their place, held and barred lines by where they still run."""
    low, high = ({"height_mm": height, "bearing_deg": 40} for height in (150, 250))
    cuts = [
        {"edge": {"height_mm": 100, "bearing_deg": 40}, "tip": low},
        {"edge": {"height_mm": 300, "bearing_deg": 40}, "tip": high},
    ]
    keep_out = {"at": high, "within_mm": 10}
    change_row(
        job, "patch", "breast",
        {"cuts": cuts, "hold": ["low", "side"], "no_cuts": ["high", keep_out]},
    )  # fmt: skip
    text = (
        (job / "job.toml")
        .read_text(encoding="utf-8")
        .replace("radius_mm = 30", 'radius_mm = 30\nover = ["breast"]')
    )
    for name, height in (("crest", 270), ("boss", 130)):
        text += (
            f'\n[[attachment]]\nname = "{name}"\non = "breast"\nkind = "cone"\nacross_mm = 20\n'
            f"height_mm = 30\nat = {{height_mm = {height}, bearing_deg = 50}}\n"
        )
    (job / "job.toml").write_text(text, encoding="utf-8")
    split_patch(job, "breast", "mid", "upper")
    after = patches(job)
    assert [cut["tip"]["height_mm"] for cut in after["breast"]["cuts"]] == [150.0]  # type: ignore[attr-defined]
    assert [cut["tip"]["height_mm"] for cut in after["upper"]["cuts"]] == [250.0]  # type: ignore[attr-defined]
    assert after["breast"]["hold"] == ["low", "side"]
    assert after["upper"]["hold"] == ["side"]
    assert len(after["breast"]["no_cuts"]) == 1  # type: ignore[arg-type]
    assert after["upper"]["no_cuts"][0] == "high"  # type: ignore[index]
    assert after["badge"]["over"] == ["breast", "upper"]
    on = {row.name: row.on for row in open_job(job).settings.attachment}
    assert on == {"crest": "upper", "boss": "breast"}


def test_advised_split_is_a_line_and_two_patches_called_after_where_they_lie(job: Path) -> None:
    turn = np.radians(np.linspace(0.0, 90.0, 7))
    across = np.column_stack([100 * np.sin(turn), -100 * np.cos(turn), np.full(7, 210.0)])
    choice = CutChoice("split", 0.04, 1, 157.0, 0.0, (across,), (np.eye(3)[:, :2],))
    made, digests = open_job(job), FileDigests(job)
    files = {choices_name(name): cut_choice_file((choice,)) for name in ("breast", "badge")}
    with made.locked("test"):
        made.keep_result("blanks", files, inputs={}, digests=digests)
    report = adopt_choice(job, "breast", 1)
    assert "'breast lower' and 'breast upper'" in report.words
    after = patches(job)
    assert list(after) == ["breast lower", "breast upper", "badge"]
    assert "breast split" in {row["name"] for row in list_rows(job, "line")}
    for name, line in (("breast lower", "low"), ("breast upper", "high")):
        assert set(after[name]["lines"]) == {line, "middle", "side", "breast split"}  # type: ignore[call-overload]
        assert {key: after[name][key] for key in SET} == {
            key: after["breast lower"][key] for key in SET
        }
    areas = {row.name: row.area_cm2 for row in show_patches(job).rows}
    assert areas["breast lower"] == pytest.approx(np.pi / 2 * 10.0 * 11.0, rel=0.01)
    assert areas["breast upper"] == pytest.approx(np.pi / 2 * 10.0 * 9.0, rel=0.01)


def test_nothing_is_written_when_it_cannot_be_done(job: Path) -> None:
    before = (job / "job.toml").read_bytes()
    with pytest.raises(DesignError, match="does not divide it"):
        split_patch(job, "badge", "high", "x")
    with pytest.raises(JobError, match="taken by 'Badge'"):
        split_patch(job, "breast", "mid", "Badge")
    with pytest.raises(JobError, match="no patch called 'hat'"):
        split_patch(job, "hat", "mid", "x")
    with pytest.raises(JobError, match="cannot be joined with itself"):
        join_patches(job, "breast", "breast")
    with pytest.raises(DesignError, match="do not lie beside each other"):
        join_patches(job, "breast", "badge")
    assert (job / "job.toml").read_bytes() == before


def test_patch_told_by_a_place_alone_gets_its_lines(job: Path) -> None:
    report = add_row(
        job, "patch", {"name": "back", "inside": {"height_mm": 250, "bearing_deg": 140}}
    )
    assert report.words == "added the patch 'back', between mid, high, middle, side"
    assert patches(job)["back"]["lines"] == ["mid", "high", "middle", "side"]


def test_lines_and_patches_are_shown_from_all_sides(job: Path) -> None:
    lines = show_lines(job)
    lengths = {row.name: row.length_mm for row in lines.rows}
    assert lengths["mid"] == pytest.approx(2 * np.pi * 100, rel=1e-3)
    assert lengths["side"] == pytest.approx(240, abs=0.1)
    side = next(row for row in lines.rows if row.name == "side")
    assert (side.start, side.end) == tuple(
        f"at height {height:.1f} mm, bearing 90 degrees" for height in (80, 320)
    )
    shown = show_patches(job)
    assert [(row.name, row.number) for row in shown.rows] == [("breast", "1/2"), ("badge", "3")]
    for drawn, name in ((lines, "lines.png"), (shown, "patches.png")):
        assert drawn.files == (job / "body" / name,)
        picture = Image.open(io.BytesIO(drawn.files[0].read_bytes()))
        assert picture.width > 2 * picture.height


def test_only_the_moved_line_is_laid_again(job: Path) -> None:
    before = draw_body(open_job(job))
    change_row(job, "line", "mid", {"height_mm": 210})
    after = draw_body(open_job(job), before=before)
    same = [a is b for a, b in zip(before.lines, after.lines, strict=True)]
    assert same == [True, False, True, True, True, True]
    assert after.form is before.form
    assert after.lines[1].path.points_mm[:, 2] == pytest.approx(210)


def test_landmarks_tell_where_lines_end(job: Path) -> None:
    made = open_job(job)
    body = cylinder_form().body
    marked = type(body)(
        body.mesh, body.trust_mm, body.axes, {"navel": Landmark("navel", np.array([90.0, -40, 90]))}
    )
    with made.locked("test"):
        made.keep_result("body", body_files(marked), inputs={}, digests=FileDigests(job))
    side = next(row for row in show_lines(job).rows if row.name == "side")
    assert side.start.endswith("from the landmark 'navel'")
