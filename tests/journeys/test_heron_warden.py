"""The whole line on the bundled photos: from photos to pages, held against the truth.

The photos were rendered from a mannequin whose mesh and girths are known exactly
(``tests/truth/heron_warden.py``), so every error below is the scan's own.
"""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
import time
import tomllib
from pathlib import Path

import numpy as np
import pypdfium2 as pdfium
import pytest

from fitkit.body.tape_measure import girth_at_mm
from fitkit.drawing.paper import paper_named
from fitkit.drawing.tiling import tile_drawings
from fitkit.geometry.mesh_files import read_mesh
from fitkit.job.designs import patch_designs
from fitkit.job.flat_patch_files import read_flat_patch
from fitkit.job.job_folder import open_job
from fitkit.job.template_files import read_templates
from tests.export.page_reading import measured_square_mm
from tests.truth.heron_warden import heron_warden_truth
from tests.truth.rigid_fit import fit_rigidly, signed_distance_mm, spread_points

pytestmark = pytest.mark.slow

FITKIT = [sys.executable, "-c", "from fitkit.cli import main; main()"]
SAMPLE = Path(__file__).parents[2] / "sample_scans" / "heron_warden"
PARTS = [
    "01-breast-plate-left",
    "02-breast-plate-right",
    "03-back-plate",
    "04-shoulder-cap-left",
    "05-shoulder-cap-right",
    "06-upper-arm-sleeve-left",
    "07-upper-arm-sleeve-right",
    "08-gorget",
]


def run(*words: object) -> subprocess.CompletedProcess[str]:
    return subprocess.run([*FITKIT, *map(str, words)], capture_output=True, text=True, timeout=900)


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, subprocess.CompletedProcess[str]]:
    folder = tmp_path_factory.mktemp("demo") / "heron"
    return folder, run("demo", folder)


@pytest.fixture(scope="module")
def job(demo: tuple[Path, subprocess.CompletedProcess[str]]) -> Path:
    folder, done = demo
    assert done.returncode == 0, done.stderr
    return folder


def test_progress_is_shown_throughout(
    demo: tuple[Path, subprocess.CompletedProcess[str]],
) -> None:
    shown = [int(w.split("%")[0]) for w in demo[1].stderr.splitlines() if "%" in w.split("  ")[0]]
    assert shown == sorted(shown)
    assert len(shown) > 20
    assert max(np.diff(shown)) <= 15


def test_every_part_comes_as_pdf_svg_and_dxf_and_every_step_with_a_picture(job: Path) -> None:
    assert (job / "out" / "templates.pdf").read_bytes().startswith(b"%PDF")
    for part in PARTS:
        assert (job / "out" / f"{part}.svg").stat().st_size > 1000
        assert (job / "out" / f"{part}.dxf").stat().st_size > 1000
    for picture in (
        "scan/photos.png",
        "body/body.png",
        "patches/patches.png",
        "blanks/breast-plate-strain.png",
        "templates/01-breast-plate-left.png",
        "out/page-01.png",
        "out/overview.png",
    ):
        assert (job / picture).read_bytes().startswith(b"\x89PNG")


def test_every_photo_was_used_and_the_scale_rests_on_the_sheets(job: Path) -> None:
    cameras = json.loads((job / "scan" / "cameras.json").read_text())
    assert len(cameras["cameras"]) == len(list((SAMPLE / "photos").glob("*.jpg"))) >= 24


def test_the_body_lies_on_its_truth(job: Path) -> None:
    """The issue asks for 5 mm RMS of the whole body; rigid motion only, nothing scaled."""
    truth = heron_warden_truth()[0]
    body = read_mesh(job / "body" / "body.ply")
    points = spread_points(body, 40_000)
    pose = fit_rigidly(points, truth)
    points = pose.apply(points)
    # The scan ends at job.toml's bottom_mm with a flat cut that the truth does not have.
    above = points[:, 2] > 795.0
    off = np.abs(signed_distance_mm(points[above], truth))
    assert np.sqrt((off**2).mean()) < 5.0
    assert np.median(off) < 0.5
    # The other way round: nothing of the truth that shows is missing.
    seen = spread_points(truth, 40_000)
    seen = seen[(seen[:, 2] > 795.0) & (seen[:, 2] < 1480.0)]
    missing = np.abs(signed_distance_mm(pose.inverse().apply(seen), body))
    assert np.mean(missing < 2.0) > 0.93


def test_trunk_and_neck_girths_are_within_the_limits_for_scans(job: Path) -> None:
    """ISO 20685-1:2018 allows 9 mm for large and 4 mm for small circumferences."""
    truth = heron_warden_truth()[0]
    body = read_mesh(job / "body" / "body.ply")
    pose = fit_rigidly(spread_points(body, 40_000), truth)
    placed = body.with_vertices(pose.apply(body.vertices))
    tapes = tomllib.loads((SAMPLE / "measured.toml").read_text())["tape"]
    assert {"neck", "chest", "waist", "hip"} <= {tape["name"] for tape in tapes}
    for tape in tapes:
        if "arm" in tape["name"]:
            continue  # the inner side of an arm is hidden from most photos; see the changelog
        point, across = np.array(tape["through_mm"]), np.array(tape["across"])
        girth_mm = girth_at_mm(placed, point, across)
        limit_mm = 4.0 if tape["name"] == "neck" else 9.0
        assert abs(girth_mm - tape["length_mm"]) < limit_mm, tape["name"]


def test_every_page_carries_a_true_check_square(job: Path) -> None:
    """The PDF rasterised at 1200 dpi: 100.00 mm both ways to 0.05 mm, on every page."""
    document = pdfium.PdfDocument(job / "out" / "templates.pdf")
    drawn = read_templates(job / "templates")
    pages = tile_drawings(
        [template.drawing for template in drawn],
        paper=paper_named("A4"),
        title="Heron Warden",
        numbers=[template.number for template in drawn],
    )
    assert len(document) == len(pages.pages) > 8
    for sheet, page in zip(document, pages.pages, strict=True):
        assert measured_square_mm(sheet, page) == pytest.approx((100.0, 100.0), abs=0.05)


def test_no_word_on_any_page_is_mirrored(job: Path) -> None:
    pages = pdfium.PdfDocument(job / "out" / "templates.pdf")
    turns = [
        item.get_matrix()
        for page in pages
        for item in page.get_objects(max_depth=3)
        if item.type == pdfium.raw.FPDF_PAGEOBJ_TEXT
    ]
    assert len(turns) > 100
    assert all(m.a * m.d - m.b * m.c > 0 for m in turns)


def test_the_sleeve_is_as_wide_as_the_form_is_round(job: Path) -> None:
    """A real arm swells both ways, so a sheet cannot keep every girth.

    On limbs that bend one way the blank keeps the girth to 0.3 % (tests/flatten); on the
    sample's arm the seam's two sides agree and the mean over the levels stays within 1 %.
    """
    designs = {design.name: design for design in patch_designs(open_job(job).settings)}
    flat = read_flat_patch(job / "blanks", designs["upper-arm sleeve"])
    seams = [edge for edge in flat.outline if edge.line == "inside of the arm"]
    seams = seams or [edge for edge in flat.outline if edge.line == "seam"]
    assert len(seams) == 2
    lengths = [np.linalg.norm(np.diff(s.points_mm, axis=0), axis=1).sum() for s in seams]
    assert abs(lengths[0] - lengths[1]) < 0.01 * lengths[0]
    rounds = [edge for edge in flat.outline if edge.line in {"sleeve top", "cuff"}]
    formed = sum(edge.formed_arc_mm[-1] for edge in rounds)
    laid = sum(np.linalg.norm(np.diff(e.points_mm, axis=0), axis=1).sum() for e in rounds)
    assert abs(laid / formed - 1.0) < 0.03
    assert abs(float(np.sqrt(flat.stretch.prod(axis=1)).mean()) - 1.0) < 0.003


def test_a_second_make_finds_nothing_to_do_and_says_so(job: Path) -> None:
    before = {p: p.stat().st_mtime_ns for p in job.rglob("*") if p.is_file()}
    again = run("make", job, "--json")
    assert again.returncode == 0
    assert all(not step["ran"] for step in json.loads(again.stdout)["steps"])
    after = {p: p.stat().st_mtime_ns for p in job.rglob("*") if p.is_file()}
    assert {p for p in before if ".fitkit" not in p.parts and before[p] != after[p]} == set()


def test_a_make_killed_at_any_moment_is_finished_by_the_next(job: Path, tmp_path: Path) -> None:
    other = tmp_path / "killed"
    shutil.copytree(job, other)
    text = (other / "job.toml").read_text()
    (other / "job.toml").write_text(text.replace("clearance_mm = 6 ", "clearance_mm = 7 ", 1))
    for wait_s in (0.8, 4.0):
        make = subprocess.Popen(
            [*FITKIT, "make", str(other)], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        time.sleep(wait_s)
        os.kill(make.pid, signal.SIGKILL)
        assert make.wait() == -signal.SIGKILL, "it was done before the kill"
        assert (other / "out" / "templates.pdf").read_bytes().startswith(b"%PDF")
    done = run("make", other)
    assert done.returncode == 0, done.stderr
    assert (other / "out" / "01-breast-plate-left.svg").read_bytes() != (
        job / "out" / "01-breast-plate-left.svg"
    ).read_bytes()
