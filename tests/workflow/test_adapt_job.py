"""The body of a job reshaped to the tape list: once, kept beside the one found, and undone."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from fitkit.errors import JobError
from fitkit.geometry.mesh_files import ply_bytes, read_mesh
from fitkit.job.body_files import FOUND_STEM, read_body
from fitkit.job.job_folder import open_job
from fitkit.spreadsheet import read_spreadsheet
from fitkit.workflow import adapt_job, check_job, make_job, measure_job
from tests.truth.mannequin import mannequin
from tests.workflow.quick_steps import tree

JOB = """\
format = 1
[job]
name = "Heron"
[wearer.tape]
chest = 1000
waist = "82 cm"
hat = 560
"under bust" = 880
[body]
from_mesh = "stand-in.ply"
[[girth]]
name = "under bust"
height_mm = 1160
[[line]]
name = "hem"
kind = "level"
height_mm = 1060
[[line]]
name = "top"
kind = "level"
height_mm = 1150
[[line]]
name = "middle"
kind = "symmetry"
[[patch]]
name = "belt"
lines = ["hem", "top"]
seam = "middle"
inside = {height_mm = 1100, bearing_deg = 40}
"""


PNG = b"\x89PNG drawn elsewhere"


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return a job with a coarse mannequin; its pictures, tested elsewhere, are not drawn."""
    monkeypatch.setattr("fitkit.export.body_picture.png_of_body", lambda *_, **__: PNG)
    monkeypatch.setattr("fitkit.export.change_picture.png_of_change", lambda *_, **__: PNG)
    (tmp_path / "job").mkdir()
    (tmp_path / "job" / "job.toml").write_text(JOB, encoding="utf-8")
    (tmp_path / "job" / "stand-in.ply").write_bytes(ply_bytes(mannequin(20.0)))
    return tmp_path / "job"


def edit(folder: Path, old: str, new: str) -> None:
    path = folder / "job.toml"
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new), encoding="utf-8")


def test_the_body_is_reshaped_and_the_one_found_is_kept(folder: Path) -> None:
    make_job(folder, until="body")
    first = (folder / "body" / "body.ply").read_bytes()
    assert not (folder / "body" / f"{FOUND_STEM}.ply").exists()

    done = adapt_job(folder)
    assert "adapt = true" in (folder / "job.toml").read_text(encoding="utf-8")
    assert [report.step for report in done.reports if report.ran] == ["body"]
    assert [row.name for row in done.rows] == ["chest", "waist", "under bust"]
    assert all(abs(row.off_mm) < 1.0 for row in done.rows)
    assert "adapt-not-on-body" in {f.code for f in check_job(folder).findings}

    assert (folder / "body" / f"{FOUND_STEM}.ply").read_bytes() == first
    shaped = read_body(folder / "body")
    found = read_body(folder / "body", stem=FOUND_STEM)
    assert (shaped.mesh.faces == found.mesh.faces).all()
    assert np.abs(shaped.mesh.vertices - found.mesh.vertices).max() > 2.0
    assert (folder / "body" / "adapted.png").read_bytes().startswith(b"\x89PNG")
    rows = read_spreadsheet((folder / "body" / "adapted.csv").read_bytes())
    assert [float(row["wanted_mm"]) for row in rows] == [1000.0, 820.0, 880.0]

    on_body = {row.name: row.difference_mm for row in measure_job(folder).rows}
    assert on_body["chest"] == pytest.approx(0.0, abs=1.0)
    assert on_body["waist"] == pytest.approx(0.0, abs=1.0)

    before = tree(folder)
    again = adapt_job(folder)
    assert not any(report.ran for report in again.reports)
    assert again.rows == done.rows
    assert tree(folder) == before


def test_a_changed_tape_list_reshapes_anew_from_the_body_found(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    adapt_job(folder)

    def not_again(*_: object, **__: object) -> None:
        raise AssertionError("the body was found anew")

    edit(folder, "chest = 1000", "chest = 980")
    monkeypatch.setattr("fitkit.body.body_of_mesh.body_of_mesh", not_again)
    (report,) = make_job(folder, until="body")
    assert report.ran
    assert read_rows(folder)["chest"] == pytest.approx(980.0, abs=1.0)
    # what follows from the list alone does not depend on what was there before
    twice = (folder / "body" / "body.ply").read_bytes()
    edit(folder, "chest = 980", "chest = 1000")
    make_job(folder, until="body")
    edit(folder, "chest = 1000", "chest = 980")
    make_job(folder, until="body")
    assert (folder / "body" / "body.ply").read_bytes() == twice


def read_rows(folder: Path) -> dict[str, float]:
    return {row.name: row.body_mm for row in measure_job(folder).rows if row.body_mm is not None}


def test_undone_the_body_is_the_one_found_to_the_last_byte(folder: Path) -> None:
    make_job(folder, until="body")
    first = (folder / "body" / "body.ply").read_bytes()
    adapt_job(folder)
    back = adapt_job(folder, wanted=False)
    assert back.rows == ()
    assert (folder / "body" / "body.ply").read_bytes() == first
    assert not (folder / "body" / "adapted.png").exists()
    assert not (folder / "body" / f"{FOUND_STEM}.ply").exists()


def test_the_tape_list_makes_a_body_stale_only_when_it_is_reshaped(folder: Path) -> None:
    make_job(folder, until="body")
    edit(folder, "chest = 1000", "chest = 990")
    assert check_job(folder).states[0].state == "fresh"
    adapt_job(folder)
    edit(folder, "chest = 990", "chest = 1000")
    state = check_job(folder).states[0]
    assert (state.state, state.reasons) == ("stale", ("[wearer.tape] changed",))


def test_an_empty_tape_list_is_told_before_anything_changes(folder: Path) -> None:
    edit(folder, 'chest = 1000\nwaist = "82 cm"\nhat = 560\n"under bust" = 880\n', "")
    before = tree(folder)
    with pytest.raises(JobError, match="is empty"):
        adapt_job(folder)
    assert tree(folder) == before
    edit(folder, "[body]", "[body]\nadapt = true")
    with pytest.raises(JobError, match="is empty"):
        make_job(folder, until="body")


def test_a_mesh_from_the_job_is_the_same_after_reading(folder: Path) -> None:
    """The tests above compare bytes of results; this one ties them to the truth."""
    assert np.allclose(read_mesh(folder / "stand-in.ply").vertices, mannequin(20.0).vertices)


@pytest.mark.slow
def test_patches_drawn_on_the_stand_in_carry_over_to_the_reshaped_body(folder: Path) -> None:
    """The belt's edges lie on the same levels and are longer by what the waist grew there."""
    from fitkit.job.designs import patch_designs
    from fitkit.job.patch_files import read_patch

    def hem_mm() -> float:
        job = open_job(folder)
        (design,) = patch_designs(job.settings)
        patch = read_patch(folder / "patches", design)
        edge = next(e for loop in patch.loops for e in loop if e.line == "hem")
        points = patch.mesh.vertices[edge.vertices]
        return float(np.linalg.norm(np.diff(points, axis=0), axis=1).sum())

    make_job(folder, until="patches")
    before = hem_mm()
    adapt_job(folder)
    make_job(folder, until="patches")
    assert hem_mm() - before == pytest.approx(820.0 - 776.0, abs=12.0)


def test_a_body_from_the_tape_list_alone_needs_neither_photos_nor_mesh(folder: Path) -> None:
    (folder / "stand-in.ply").unlink()
    edit(folder, 'from_mesh = "stand-in.ply"', 'from_tape = "women"')
    (report,) = make_job(folder, until="body")
    assert report.step == "body"
    codes = {finding.code for finding in report.findings}
    assert "body-not-measured" in codes
    assert "no-photos" not in {f.code for f in check_job(folder).findings}
    assert read_rows(folder)["chest"] == pytest.approx(1000.0, abs=1.0)
    edit(folder, "chest = 1000", "chest = 980")
    (again,) = make_job(folder, until="body")
    assert again.ran
    assert read_rows(folder)["chest"] == pytest.approx(980.0, abs=1.0)
