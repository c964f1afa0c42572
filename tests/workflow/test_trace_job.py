"""A card piece trimmed by the maker comes back into the job by photo."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely
from typer.testing import CliRunner

from fitkit.cli.app import app
from fitkit.errors import InputError, JobError, PhotoError
from fitkit.flatten.flat_patch import FlatPatch
from fitkit.geometry.arrays import Floats
from fitkit.job.body_files import body_files
from fitkit.job.designs import corrections, patch_designs
from fitkit.job.flat_patch_files import flat_patch_files
from fitkit.job.job_folder import create_job, open_job
from fitkit.job.made_from import FileDigests
from fitkit.job.template_files import read_templates
from fitkit.patch.design import PatchDesign
from fitkit.template.blank_edges import blank_edges
from fitkit.template.correction import Correction
from fitkit.workflow.templates_step import templates
from fitkit.workflow.trace_job import trace_job
from tests.patch.upright import cylinder_form
from tests.template.parts import barrel_panels
from tests.trace.scenes import SHEETS, off_outline_mm
from tests.truth.flat_table import CardPiece, TableScene, camera_over, render_table, table_lens
from tests.truth.studio import photo_jpeg

JOB = """\
format = 1

[job]
name = "Heron Warden"

[capture]
printed_mm = [180.0, 200.0]

[[line]]
name = "hem"
kind = "level"
height_mm = 900

[[line]]
name = "waist"
kind = "level"
height_mm = 1000

[[line]]
name = "side"
kind = "level"
height_mm = 1100

[[line]]
name = "centre"
kind = "symmetry"

# the tassets
[[patch]]
name = "tasset"
lines = ["hem", "waist", "centre", "side"]
inside = { height_mm = 950, bearing_deg = 30 }
side = "left"
pair = true
thickness_mm = 0.5
edges = { waist = { lap_mm = 12 } }
"""
TRIMMED_MM = 5.0


@pytest.fixture(scope="module")
def blank() -> FlatPatch:
    return barrel_panels()["left lower"]


def job_with(folder: Path, blank: FlatPatch) -> Path:
    create_job(folder, JOB)
    job = open_job(folder)
    (design,) = patch_designs(job.settings)
    digests = FileDigests(folder)
    with job.locked("test"):
        body = body_files(cylinder_form().body)
        job.keep_result("body", body, inputs={}, digests=digests)
        job.keep_result(
            "blanks", flat_patch_files(replace(blank, design=design)), inputs={}, digests=digests
        )
        templates(job, digests=digests)
    return folder


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory, blank: FlatPatch) -> Path:
    return job_with(tmp_path_factory.mktemp("trace") / "heron", blank)


def trimmed(blank: FlatPatch, design: PatchDesign, *, wavy_mm: float = 0.0) -> Floats:
    """Return the left tasset's cut line with 5 mm taken off at the hem, lying on the table.

    The knife strayed from the ruler by waves of 30 mm, ``wavy_mm`` to either side.
    """
    outline = blank_edges(replace(blank, design=design)).outline.points_mm
    hem = next(edge for edge in blank.outline if edge.line == "hem").points_mm
    ahead = (hem[-1] - hem[0]) / np.linalg.norm(hem[-1] - hem[0])
    inward = np.array([-ahead[1], ahead[0]])
    # Everything beyond the hem moved inwards goes: the hem is straight to half a millimetre.
    middle = hem.mean(axis=0) + TRIMMED_MM * inward
    far = 400.0
    at = np.linspace(-far, far, 801)[:, None]
    cut = middle + at * ahead + wavy_mm * np.sin(2.0 * np.pi * at / 30.0) * inward
    keep = shapely.Polygon([*cut, middle + far * (ahead + inward), middle + far * (inward - ahead)])
    piece = shapely.intersection(shapely.Polygon(outline), keep)
    return np.asarray(shapely.get_coordinates(shapely.orient_polygons(piece).exterior))[:-1]


def deepest_trim_mm(blank: FlatPatch) -> float:
    """Return how far the straight trim reaches beyond the hem's ends."""
    hem = next(edge for edge in blank.outline if edge.line == "hem").points_mm
    ahead = (hem[-1] - hem[0]) / np.linalg.norm(hem[-1] - hem[0])
    rise = (hem - hem.mean(axis=0)) @ np.array([-ahead[1], ahead[0]])
    return TRIMMED_MM - float(rise.min())


@pytest.fixture(scope="module")
def photo(tmp_path_factory: pytest.TempPathFactory, blank: FlatPatch, made: Path) -> Path:
    (design,) = patch_designs(open_job(made).settings)
    return photo_of(trimmed(blank, design), tmp_path_factory.mktemp("photos") / "tasset.jpg")


def photo_of(outline: Floats, path: Path) -> Path:
    """Lay a piece of card on the table and take its photo."""
    centred = outline - 0.5 * (outline.min(axis=0) + outline.max(axis=0))
    c, s = np.cos(0.6), np.sin(0.6)
    piece = CardPiece(centred @ np.array([[c, -s], [s, c]]).T, thickness_mm=0.5)
    assert np.abs(piece.outline_mm[:, 0]).max() < 125
    camera = camera_over("x", tilt_deg=15.0, distance_mm=620.0, lens=table_lens(1600, 1200))
    rgb = render_table(TableScene((piece,), SHEETS), camera)
    path.write_bytes(photo_jpeg(rgb, focal_35mm=26, quality=92))
    return path


def test_the_trimmed_edge_is_read_and_nothing_kept_before_the_yes(
    made: Path, photo: Path, blank: FlatPatch
) -> None:
    before = (made / "job.toml").read_text()
    traced = trace_job(made, [photo], part="tasset, left", thickness_mm=0.5)
    (piece,) = traced.report.facts["pieces"]
    assert piece["part"] == "tasset, left"
    most, least = piece["moved_mm"]["hem"]
    # The hem bows up amid: the straight cut takes more off its ends than the mean.
    assert least == pytest.approx(-deepest_trim_mm(blank), abs=0.4)
    assert most == 0.0
    assert "waist" not in piece["moved_mm"]
    assert (made / "job.toml").read_text() == before
    for picture in traced.report.files:
        assert picture.read_bytes().startswith(b"\x89PNG")
    lengths = [f for f in traced.report.findings if f.code == "edge-length-changed"]
    assert {finding.message.split("'")[1] for finding in lengths} >= {"side", "centre"}


def test_kept_corrections_make_the_next_template(
    tmp_path: Path, blank: FlatPatch, photo: Path
) -> None:
    folder = job_with(tmp_path / "heron", blank)
    done = CliRunner().invoke(
        app,
        [
            "trace",
            str(folder),
            str(photo),
            "--part",
            "1",
            "--thickness",
            "0.5 mm",
            "--keep",
            "--json",
        ],
    )
    answer = json.loads(done.stdout)
    assert done.exit_code == 0
    assert answer["kept"] is True
    text = (folder / "job.toml").read_text()
    assert "# the tassets" in text
    job = open_job(folder)
    assert job.state("templates").state == "stale"
    kept = corrections(job.settings)["tasset"]
    assert max(len(move.moves) for move in kept.edges) < 30
    with job.locked("test"):
        templates(job, digests=FileDigests(folder))
    left, right = read_templates(job.result_folder("templates"))
    (design,) = patch_designs(job.settings)
    want = trimmed(blank, design)
    assert np.percentile(np.abs(off_outline_mm(left.outline_mm, want)), 95) < 0.6
    # The twin overlays the left one's mirror.
    across = left.outline_mm * np.array([-1.0, 1.0]) + [left.outline_mm[:, 0].max(), 0.0]
    assert shapely.Polygon(right.outline_mm).symmetric_difference(
        shapely.Polygon(across)
    ).area == pytest.approx(0.0, abs=1e-6)
    # A second trace of the same card finds it as printed now, and replaces nothing.
    again = trace_job(folder, [photo], part="tasset", thickness_mm=0.5)
    assert again.corrections == ()


def test_a_part_and_its_twin_that_look_alike_have_to_be_named(made: Path, photo: Path) -> None:
    with pytest.raises(
        PhotoError, match=r"may be tasset, (left|right) or tasset, (left|right)"
    ) as caught:
        trace_job(made, [photo], thickness_mm=0.5)
    assert "--part" in caught.value.remedy


@pytest.fixture(scope="module")
def both(tmp_path_factory: pytest.TempPathFactory, made: Path) -> list[Path]:
    """Two photos of both tassets cut from their printed templates, 6 mm off each one's foot."""
    pieces = []
    shifts = ([-5.0, 62.0], [8.0, -58.0])
    for template, shift in zip(read_templates(made / "templates"), shifts, strict=True):
        low, high = template.outline_mm.min(axis=0), template.outline_mm.max(axis=0)
        kept = shapely.box(low[0] - 1.0, low[1] + 6.0, high[0] + 1.0, high[1] + 1.0)
        cut = shapely.orient_polygons(shapely.Polygon(template.outline_mm) & kept)
        turn = np.array([[np.cos(0.3), -np.sin(0.3)], [np.sin(0.3), np.cos(0.3)]])

        def laid(
            points: Floats,
            middle: Floats = 0.5 * (low + high),
            turn: Floats = turn,
            shift: list[float] = shift,
        ) -> Floats:
            return (points - middle) @ turn.T + shift

        assert template.drawing.fills, "the template bears its tag"
        pieces.append(
            CardPiece(
                laid(np.asarray(shapely.get_coordinates(cut.exterior))[:-1]),
                thickness_mm=0.5,
                colour=(0.62, 0.60, 0.55),
                ink_mm=tuple(laid(fill.points_mm) for fill in template.drawing.fills),
            )
        )
    folder = tmp_path_factory.mktemp("both")
    paths = []
    for tilt_deg, bearing_deg in ((8.0, -90.0), (22.0, 20.0)):
        camera = camera_over(
            "x",
            tilt_deg=tilt_deg,
            bearing_deg=bearing_deg,
            distance_mm=620.0,
            lens=table_lens(1600, 1200),
        )
        rgb = render_table(TableScene(tuple(pieces), SHEETS), camera)
        paths.append(folder / f"both-{tilt_deg:g}.jpg")
        paths[-1].write_bytes(photo_jpeg(rgb, focal_35mm=26, quality=92))
    return paths


@pytest.mark.parametrize("count", [1, 2])
def test_printed_tags_tell_twins_apart_several_pieces_at_once(
    made: Path, both: list[Path], count: int
) -> None:
    traced = trace_job(made, both[:count], thickness_mm=0.5)
    found = {piece["part"]: piece for piece in traced.report.facts["pieces"]}
    assert set(found) == {"tasset, left", "tasset, right"}
    assert "tag-unknown" not in {finding.code for finding in traced.report.findings}
    for piece in found.values():
        most, least = piece["moved_mm"]["hem"]
        assert least == pytest.approx(-6.0, abs=0.5)
        assert most == 0.0
        # The tag's squares are no pencil lines of the maker's.
        assert piece["pencil_lines"] == piece["holes"] == 0
        # The new foot is offered as what it is, 130 mm and more of straight edge.
        longest = max(float(r.split()[0]) for r in piece["even_runs"] if "straight" in r)
        assert longest > 60.0


def test_edges_all_but_straight_are_made_so_on_request(
    tmp_path: Path, made: Path, blank: FlatPatch
) -> None:
    (design,) = patch_designs(open_job(made).settings)
    photo = photo_of(trimmed(blank, design, wavy_mm=0.3), tmp_path / "wavy.jpg")
    plain, even = (
        off_straight_mm(
            trace_job(made, [photo], part="tasset, left", thickness_mm=0.5, even=even).corrections[
                0
            ],
            blank,
        )
        for even in (False, True)
    )
    assert plain > 0.2
    assert even < 0.05


def off_straight_mm(correction: Correction, blank: FlatPatch) -> float:
    """Return how far the traced hem, its ends left out, strays from a straight line at most."""
    points = next(edge for edge in blank.outline if edge.line == "hem").points_mm
    (hem,) = [move for move in correction.edges if move.line == "hem"]
    length = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])
    share, out, along = hem.moves[(hem.moves[:, 0] > 0.1) & (hem.moves[:, 0] < 0.9)].T
    at = share * length[-1]
    step = 0.5
    place, ahead = (
        np.column_stack([np.interp(by, length, axis) for axis in points.T])
        for by in (at, at + step)
    )
    way = (ahead - place) / np.linalg.norm(ahead - place, axis=1, keepdims=True)
    outward = np.column_stack([way[:, 1], -way[:, 0]])
    cut = place + out[:, None] * outward + along[:, None] * way
    off = cut - cut.mean(axis=0)
    off = off @ np.linalg.svd(off)[2][1]
    return float(np.abs(off).max())


def test_an_unknown_part_names_the_known(made: Path, photo: Path) -> None:
    with pytest.raises(InputError, match="no part called 'visor'") as caught:
        trace_job(made, [photo], part="visor")
    assert "tasset, left" in caught.value.remedy


def test_a_job_without_templates_says_what_to_run(tmp_path: Path, photo: Path) -> None:
    create_job(tmp_path / "new", JOB)
    with pytest.raises(JobError, match="no templates yet"):
        trace_job(tmp_path / "new", [photo])
