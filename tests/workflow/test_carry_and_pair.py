"""A design carried from job to job, and a pair shown on a body whose sides differ."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest
from skimage.io import imread

from fitkit.errors import JobError
from fitkit.geometry.mesh_files import ply_bytes
from fitkit.job.job_folder import open_job
from fitkit.workflow.carry_job import carry_job
from fitkit.workflow.make_job import make_job
from fitkit.workflow.pair_job import pair_job
from tests.truth.mannequin import mannequin

HEAD = """\
format = 1
[job]
name = "{name}"
[body]
from_mesh = "body.ply"
[form]
clearance_mm = 5 # vest
"""
DESIGN = """
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

[[line]]
name = "left side"
kind = "geodesic"
points = [{ height_mm = 1040, bearing_deg = 95 }, { height_mm = 1170, bearing_deg = 95 }]

[[patch]]
name = "belly plate"
lines = ["hem", "top", "middle", "left side"]
inside = { height_mm = 1100, bearing_deg = 40 }
side = "left"
pair = true
"""


pytestmark = pytest.mark.slow


@pytest.fixture(autouse=True)
def _no_pictures(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("fitkit.export.body_picture.png_of_body", lambda *_, **__: b"\x89PNG")


# Coarse enough to be quick; all limits hold as on one of 10 mm.
CELL_MM = 14.0


@pytest.fixture(scope="module")
def drawn(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a job whose patches are made, to be copied."""
    folder = job_with(tmp_path_factory.mktemp("jobs") / "drawn", 1.0, design=DESIGN)
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr("fitkit.export.body_picture.png_of_body", lambda *_, **__: b"\x89PNG")
        make_job(folder, until="patches")
    return folder


def job_with(folder: Path, scale: np.ndarray | float, *, design: str = "") -> Path:
    mesh = mannequin(CELL_MM)
    points = mesh.vertices * scale
    points[:, 2] += 780.0 - points[:, 2].min()
    folder.mkdir()
    (folder / "body.ply").write_bytes(ply_bytes(mesh.with_vertices(points)))
    (folder / "job.toml").write_text(HEAD.format(name=folder.name) + design, encoding="utf-8")
    return folder


def test_a_design_goes_from_job_to_job_and_keeps_its_remarks(tmp_path: Path, drawn: Path) -> None:
    second = job_with(tmp_path / "second", 1.12)
    with pytest.raises(JobError, match="not there"):
        carry_job(second, source=job_with(tmp_path / "not made", 1.0, design=DESIGN))
    carried = carry_job(second, source=drawn)
    assert carried.scale == pytest.approx(1.12, abs=0.005)
    assert not carried.findings
    settings = open_job(second).settings
    assert settings.job.name == "second"
    bottom = 780.0  # both stand on it
    hem = settings.line[0].height_mm  # type: ignore[union-attr]
    assert hem - bottom == pytest.approx(1.12 * (1060 - bottom), abs=2.0)
    assert "# vest" in (second / "job.toml").read_text(encoding="utf-8")
    for name, there, here in carried.lines:
        assert here == pytest.approx(1.12 * there, rel=0.02), name
    with pytest.raises(JobError, match="rows already"):
        carry_job(second, source=drawn)


def test_a_body_that_changed_under_the_design_takes_it_along(tmp_path: Path, drawn: Path) -> None:
    job = Path(shutil.copytree(drawn, tmp_path / "job"))
    points = mannequin(CELL_MM).vertices * [1.0, 1.0, 1.1]
    points[:, 2] += 780.0 - points[:, 2].min()
    (job / "body.ply").write_bytes(ply_bytes(mannequin(CELL_MM).with_vertices(points)))
    report = make_job(job, until="patches")[-1]
    (changed,) = [one for one in report.findings if one.code == "body-changed"]
    assert changed.number == pytest.approx(0.1 * 710, abs=3)  # the top of the body
    assert changed.remedy.endswith(f"fitkit carry {job}")
    carried = carry_job(job)
    assert "body-changed" not in [one.code for r in carried.reports for one in r.findings]
    hem = open_job(job).settings.line[0].height_mm  # type: ignore[union-attr]
    assert hem - 780 == pytest.approx(1.1 * 280, abs=2.0)


def test_both_sides_of_a_pair_are_shown_and_parted_when_wanted(tmp_path: Path, drawn: Path) -> None:
    alike = Path(shutil.copytree(drawn, tmp_path / "alike"))
    shown = pair_job(alike, "belly plate")
    assert shown.furthest_mm < 1.0
    assert not shown.parted
    # A belly that is fuller on the left: 25 mm about a point, half of it 40 mm from there.
    points = mannequin(CELL_MM).vertices
    reach = np.hypot(points[:, 0] - 70, points[:, 2] - 1100)
    fuller = 25.0 * np.exp(-0.5 * (reach / 35) ** 2) * (points[:, 1] < -20)
    scale = np.column_stack(
        [np.ones_like(fuller), 1.0 - fuller / points[:, 1], np.ones_like(fuller)]
    )
    differing = job_with(tmp_path / "differing", scale, design=DESIGN)
    report = make_job(differing, until="patches")[-1]
    (differs,) = [finding for finding in report.findings if finding.code == "pair-differs"]
    assert f"fitkit pair {differing} 'belly plate'" in differs.remedy
    shown = pair_job(differing, "belly plate", part=True)
    assert shown.furthest_mm > 1.5
    assert shown.area_share < -0.01
    assert imread(shown.picture).shape[0] > 100
    patches = {row.name: row for row in open_job(differing).settings.patch}
    assert patches["belly plate"].pair is False
    assert patches["belly plate fitted"].side == "right"
    report = make_job(differing, until="patches")[-1]
    assert (differing / "patches" / "belly-plate-fitted.ply").is_file()
    assert "pair-differs" not in [finding.code for finding in report.findings]
