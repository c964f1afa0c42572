"""Straps through the job: laid over two plates on a round body, drawn, listed, told by text."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from fitkit.body.body import Body, SegmentAxis
from fitkit.body.side import Side
from fitkit.cli.app import app
from fitkit.errors import DesignError, JobError
from fitkit.job.body_files import body_files
from fitkit.job.job_folder import Job, open_job
from fitkit.job.made_from import FileDigests
from fitkit.job.strap_files import read_bought
from fitkit.job.template_files import read_templates
from fitkit.spreadsheet import read_spreadsheet
from fitkit.workflow.job_plates import JobPlates
from fitkit.workflow.make_job import make_job
from fitkit.workflow.straps import laid_straps
from tests.truth import solids

RADIUS, ROOM = 70.0, 8.0

TEXT = (
    """\
format = 1

[job]
name = "Tube"

[body]
from_mesh = "tube.ply"

[form]
clearance_mm = 8

[[line]]
name = "low"
kind = "level"
height_mm = 90

[[line]]
name = "high"
kind = "level"
height_mm = 190
"""
    + "".join(
        f"""
[[line]]
name = "at {bearing}"
kind = "geodesic"
points = [{{height_mm = 70, bearing_deg = {bearing}}}, {{height_mm = 210, bearing_deg = {bearing}}}]
"""
        for bearing in (0, 55, 125, 235, 305)
    )
    + """
[[patch]]
name = "front plate"
lines = ["low", "high", "at 0", "at 55"]
inside = {height_mm = 140, bearing_deg = 25}
side = "left"
pair = true
thickness_mm = 1
material = "aluminium"

[[patch]]
name = "back plate"
lines = ["low", "high", "at 125", "at 235"]
inside = {height_mm = 140, bearing_deg = 180}
thickness_mm = 1
material = "aluminium"
"""
)

STRAP = """
[[strap]]
name = "left side strap"
on = ["front plate", "back plate"]
at = [{height_mm = 150, bearing_deg = 40}, {height_mm = 150, bearing_deg = 140}]
pair = true
"""


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a job of two plates on a round body, its templates made."""
    folder = tmp_path_factory.mktemp("tube")
    (folder / "job.toml").write_text(TEXT + STRAP, encoding="utf-8")
    job = open_job(folder)
    mesh = solids.cylinder(RADIUS, 250.0, 8.0)
    trunk = SegmentAxis("trunk", np.array([0.0, 0, 250]), np.zeros(3))
    body = Body(mesh, np.zeros(len(mesh.vertices)), {"trunk": trunk})
    digests = FileDigests(job.folder)
    job.keep_result("body", body_files(body), inputs=job.inputs("body", digests), digests=digests)
    make_job(folder, until="templates")
    return folder


@pytest.fixture
def job(made: Path) -> Job:
    """Return the job as made, its text as it was."""
    (made / "job.toml").write_text(TEXT + STRAP, encoding="utf-8")
    return open_job(made)


def test_strap_is_as_long_as_its_arc_and_its_pieces_are_templates(job: Job) -> None:
    """100 degrees round a tube of R + clearance + sheet + half the strap (closed form)."""
    (strap,) = laid_straps(job)
    middle = RADIUS + ROOM + 1.0 + 1.5
    assert strap.run.length_mm == pytest.approx(middle * np.radians(100.0), abs=0.6)
    templates = read_templates(job.result_folder("templates"))
    assert [(t.number, t.name, t.side) for t in templates] == [
        (1, "front plate", Side.LEFT),
        (2, "front plate", Side.RIGHT),
        (3, "back plate", Side.CENTRE),
        (4, "left side strap", Side.LEFT),
        (5, "right side strap", Side.RIGHT),
        (6, "left side strap, buckle end", Side.LEFT),
        (7, "right side strap, buckle end", Side.RIGHT),
    ]
    long = templates[3]
    assert np.ptp(long.outline_mm[:, 0]) == pytest.approx(strap.fit.pieces[0].length_mm)
    assert (long.material, long.thickness_mm) == ("leather", 3.0)
    assert len(long.drawing.holes) == len(strap.fit.pieces[0].holes_mm)
    rows = read_spreadsheet((job.result_folder("templates") / "straps.csv").read_bytes())
    assert [row["count"] for row in rows] == ["2", "2"]
    assert float(rows[0]["length_mm"]) == pytest.approx(np.ptp(long.outline_mm[:, 0]), abs=0.06)


def test_holes_of_both_plates_lie_under_the_strap_on_both_sides(job: Job) -> None:
    """On a tube the blank is the development; the strap lies at 150 mm, the plates begin at 90.

    Holes 20 mm apart in the middle of the strap meet holes in the middle of the sheet that are
    nearer to each other by the ratio of their radii.
    """
    apart = 20.0 * (RADIUS + ROOM + 0.5) / (RADIUS + ROOM + 1.0 + 1.5)
    left, right, back = read_templates(job.result_folder("templates"))[:3]
    for plate, count in ((left, 2), (right, 2), (back, 4)):
        centres = np.array([hole.centre_mm for hole in plate.drawing.holes])
        assert len(centres) == count
        assert {hole.diameter_mm for hole in plate.drawing.holes} == {4.1}
        assert centres[:, 1] - plate.outline_mm[:, 1].min() == pytest.approx(60.0, abs=0.6)
        steps = np.diff(np.sort(centres[:, 0]))
        assert steps[0] == pytest.approx(apart, abs=0.2)
    # What the left one has at one side the right one has at the other.
    width = np.ptp(left.outline_mm[:, 0])
    own, twin = (
        np.sort([hole.centre_mm[0] for hole in plate.drawing.holes]) for plate in (left, right)
    )
    assert np.sort(width - twin) == pytest.approx(own, abs=1e-6)
    assert any("left side strap" in words.text for words in left.drawing.words)
    assert any("right side strap" in words.text for words in right.drawing.words)


def test_without_pair_only_the_side_it_lies_on_is_drilled(job: Job) -> None:
    single = TEXT + STRAP.replace("pair = true\n", "")
    (strap,) = laid_straps(job.with_text(single))
    assert [(seat.patch, seat.twin) for seat in strap.seats] == [
        ("front plate", False),
        ("back plate", False),
    ]
    across = STRAP.replace("bearing_deg = 40", "bearing_deg = 320").replace("pair = true\n", "")
    across = across.replace("bearing_deg = 140", "bearing_deg = 220")
    (other,) = laid_straps(job.with_text(TEXT + across))
    assert [(seat.patch, seat.twin) for seat in other.seats] == [
        ("front plate", True),
        ("back plate", False),
    ]
    assert other.run.length_mm == pytest.approx(strap.run.length_mm, abs=0.1)
    assert np.sort(other.seats[0].holes_mm, axis=0) == pytest.approx(
        np.sort(strap.seats[0].holes_mm, axis=0), abs=0.2
    )


def test_what_is_to_be_bought_counts_both_sides(job: Job) -> None:
    bought = read_bought(job.result_folder("templates"))
    assert {(one.where, one.on) for one in bought} == {
        ("left side strap", ("front plate", "back plate"))
    }
    assert [(one.item, one.size, one.count) for one in bought] == [
        ("buckle", "25 mm", 2),
        ("aluminium blind rivet", "4 × 8", 4),
        ("aluminium blind rivet", "4 × 12", 4),
    ]
    long = STRAP.replace("bearing_deg = 40", "bearing_deg = 15")
    long = long.replace("bearing_deg = 140", "bearing_deg = 190")
    long += "through = [{height_mm = 120, bearing_deg = 280}]\n"
    (strap,) = laid_straps(job.with_text(TEXT + long))
    (cut,) = [one for one in strap.bought if one.item.startswith("strap")]
    assert cut.length_mm == strap.fit.pieces[0].length_mm
    assert "holes at 10, 30," in cut.note


def test_again_nothing_is_made_and_another_width_redraws(job: Job) -> None:
    reports = make_job(job.folder, until="templates")
    assert not any(report.ran for report in reports)
    (job.folder / "job.toml").write_text(TEXT + STRAP + "width_mm = 20\n", encoding="utf-8")
    assert open_job(job.folder).state("templates").state == "stale"
    assert open_job(job.folder).state("blanks").state == "fresh"


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ('on = ["front plate", "bakc plate"]', "no patch 'bakc plate'"),
        ('on = ["front plate"]', "'on'"),
        ('rivets = "blind 9"', "no rivet called"),
        ('at = [{line = "hihg", along = 0.5}, {landmark = "x"}]', "no tape line 'hihg'"),
        ('closing = "zip"', "closing"),
        ("widht_mm = 20", "Did you mean 'width_mm'?"),
    ],
)
def test_what_is_told_wrong_is_named(wrong: str, said: str) -> None:
    from fitkit.job.settings_text import settings_problems

    key = wrong.split(" ", 1)[0]
    kept = [line for line in STRAP.splitlines() if not line.startswith(f"{key} ")]
    _, problems = settings_problems(TEXT + "\n".join([*kept, wrong]) + "\n")
    assert problems
    assert any(said in f"{one.place()} {one.cause} {one.remedy}" for one in problems)
    assert all('[[strap]] "left side strap"' in one.place() for one in problems)


def test_one_place_for_both_ends_and_one_off_its_plate_are_refused(job: Job) -> None:
    text = TEXT + STRAP
    with pytest.raises(DesignError, match="starts and ends in one place"):
        laid_straps(job.with_text(text.replace('"back plate"]', '"front plate"]').replace(
            "bearing_deg = 140", "bearing_deg = 40")))  # fmt: skip
    with pytest.raises(DesignError, match="left side strap' on 'back plate' lies"):
        laid_straps(job.with_text(text.replace("bearing_deg = 140", "bearing_deg = 80")))


def test_straps_by_text(job: Job) -> None:
    run = CliRunner().invoke
    folder = str(job.folder)
    added = run(app, ["strap", "add", folder, "high strap", "--from", "front plate", "170@40",
                      "--to", "back plate", "170@140", "--width", "2 cm",
                      "--closing", "post"])  # fmt: skip
    assert added.exit_code == 0, added.output
    row = open_job(folder).settings.strap[1]
    assert (row.name, row.width_mm, row.closing) == ("high strap", 20.0, "post")
    assert run(app, ["strap", "change", folder, "high strap", "--pair"]).exit_code == 0
    assert run(app, ["strap", "rename", folder, "high strap", "top strap"]).exit_code == 0
    listed = json.loads(run(app, ["strap", "list", folder, "--json"]).stdout)
    assert [one["name"] for one in listed["straps"]] == ["left side strap", "top strap"]
    assert run(app, ["strap", "remove", folder, "top strap"]).exit_code == 0
    assert len(open_job(folder).settings.strap) == 1
    shown = run(app, ["strap", "show", folder])
    assert "cut 2 of left side strap: 25 ×" in shown.stdout
    assert (job.result_folder("patches") / "straps.png").read_bytes().startswith(b"\x89PNG")


def test_renamed_patch_and_line_are_meant_by_the_strap_too(job: Job) -> None:
    from fitkit.job.row_edits import with_renamed_line, with_renamed_patch

    text = TEXT + STRAP.replace("{height_mm = 150, bearing_deg = 40}",
                                '{line = "at 55", along = 0.5}')  # fmt: skip
    renamed = with_renamed_line(with_renamed_patch(text, "front plate", "bib"), "at 55", "side")
    row = job.with_text(renamed).settings.strap[0]
    assert row.on == ("bib", "back plate")
    assert row.at[0].line == "side"


def test_at_the_edge_the_rivets_follow_inwards(job: Job) -> None:
    """The edge distance of 10 mm makes it so much longer than from the edge."""
    text = TEXT + STRAP.replace(
        "{height_mm = 150, bearing_deg = 40}", '{line = "at 55", along = 0.57}'
    )
    (strap,) = laid_straps(job.with_text(text))
    middle = RADIUS + ROOM + 1.0 + 1.5
    inset = 10.0 * middle / (RADIUS + ROOM + 0.5)
    assert strap.run.length_mm == pytest.approx(middle * np.radians(85.0) + inset, abs=1.0)


def test_pad_under_a_pair_fills_its_room_and_keeps_clear_of_the_strap(job: Job) -> None:
    pad = '\n[[pad]]\nname = "left lining"\non = "front plate"\n'
    (job.folder / "job.toml").write_text(TEXT + STRAP + pad, encoding="utf-8")
    assert open_job(job.folder).state("blanks").state == "fresh"
    make_job(job.folder, until="templates")
    drawn = read_templates(job.result_folder("templates"))
    left, right = drawn[-2:]
    assert [(one.number, one.name, one.side) for one in (left, right)] == [
        (8, "left lining", Side.LEFT),
        (9, "right lining", Side.RIGHT),
    ]
    assert (left.material, left.thickness_mm) == ("foam", ROOM)
    # One rivet is punched; the other, 20 mm from the plate's edge, is cut out to the pad's own.
    assert len(left.drawing.holes) == 1
    height = np.ptp(drawn[0].outline_mm[:, 1]) - 20.0
    assert np.ptp(left.outline_mm[:, 1]) == pytest.approx(height, abs=1.0)
    for wrong, said in (
        (pad.replace("front plate", "frnot plate"), "no patch 'frnot plate'"),
        (pad.replace("left lining", "back plate"), "taken by 'back plate'"),
        (pad + "edge = 5\n", "Did you mean 'edge_mm'?"),
    ):
        with pytest.raises(JobError) as caught:
            job.with_text(TEXT + STRAP + wrong)
        assert said in f"{caught.value.cause} {caught.value.remedy}"


def test_gusset_between_the_plates_is_a_template_of_each_side(job: Job) -> None:
    """From 55 to 125 degrees of the form, 25 mm under each plate and 10 mm of seam."""
    gusset = """
[[gusset]]
name = "left side"
between = ["front plate", "back plate"]
at = {height_mm = 140, bearing_deg = 90}
reach_mm = 120
pair = true
"""
    (job.folder / "job.toml").write_text(TEXT + STRAP + gusset, encoding="utf-8")
    make_job(job.folder, until="templates")
    left, right = read_templates(job.result_folder("templates"))[-2:]
    assert (left.name, left.side, right.name) == ("left side", Side.LEFT, "right side")
    width = (RADIUS + ROOM + 0.5) * np.radians(70.0)
    size = np.ptp(left.outline_mm, axis=0)
    assert size == pytest.approx([width + 50.0 + 20.0, 100.0 + 20.0], abs=1.5)
    assert any("edge of 'front plate'" in words.text for words in left.drawing.words)


def test_fastener_wants_one_plate_over_the_other(job: Job) -> None:
    from fitkit.workflow.fasteners import laid_fasteners, reach_findings

    row = """
[[fastener]]
name = "catch"
on = ["front plate", "back plate"]
at = {height_mm = 140, bearing_deg = 50}
"""
    with pytest.raises(DesignError, match="'back plate' ends before it"):
        laid_fasteners(job.with_text(TEXT + STRAP + row))
    for wrong, said in (
        (row.replace("back plate", "bakc plate"), "no patch 'bakc plate'"),
        (row + 'load = "huge"\n', "load"),
        (row + "offten = true\n", "Did you mean 'often'?"),
    ):
        with pytest.raises(JobError) as caught:
            job.with_text(TEXT + STRAP + wrong)
        assert said in f"{caught.value.cause} {caught.value.remedy}"
    # Nothing lies over the strap's buckle.
    assert reach_findings(JobPlates(job), (), laid_straps(job)) == ()


def test_the_book_tells_straps_as_the_templates_have_them(job: Job) -> None:
    """Words and picture are read, nothing is laid again: the patches may even be gone."""
    from fitkit.workflow.book_holding import book_holding

    (strap,) = laid_straps(job)
    patches = job.result_folder("patches")
    patches.rename(patches.with_name("elsewhere"))
    try:
        told = book_holding(job)
    finally:
        patches.with_name("elsewhere").rename(patches)
    assert told is not None
    (row,) = told.rows
    assert (row.name, row.what) == ("left side strap", f"strap, {strap.design.closing}")
    assert "Riveted to 'front plate', closed on 'back plate'." in row.words
    for piece in strap.fit.pieces:
        assert f"ut {strap.count} of {piece.in_words()}" in row.words
    assert told.picture is not None
    assert told.picture.startswith(b"\x89PNG")


def test_screws_of_a_lap_shut_in_by_another_plate_are_told() -> None:
    from fitkit.geometry.mesh import TriangleMesh
    from fitkit.holding.worn_sheet import WornSheet
    from fitkit.materials.rivet import rivet_named
    from fitkit.template.rivet_joint import RivetHoles
    from fitkit.workflow.fasteners import _row_finding

    def wall(name: str, y: float) -> WornSheet:
        flat = solids.plane_rectangle(300.0, 300.0, 10.0)
        moved = flat.vertices + np.array([0.0, y, 0.0])
        return WornSheet(name, False, TriangleMesh(moved, flat.faces), 1.0)

    formed = np.array([[150.0, 0.0, 100.0], [150.0, 0.0, 150.0]])
    row = RivetHoles("bib", 0, formed[:, ::2], formed, rivet_named("screw M4"), 4.3, 2.0, 10.0,
                     joins="belt")  # fmt: skip
    assert _row_finding(row, [wall("bib", 0.0), wall("belt", 2.0)]) is None
    shut = _row_finding(row, [wall("bib", 0.0), wall("belt", 2.0), wall("apron", -60.0)])
    assert shut is not None
    assert "No driver gets at 'bib, screws to belt'" in shut.message
    assert "'apron' is in the way" in shut.message
