"""A mesh from elsewhere becomes the job's body, or the job stays as it was."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from fitkit.errors import InputError, JobError, MeshError
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.mesh_files import write_mesh
from fitkit.job.body_files import read_body
from fitkit.job.job_folder import open_job
from fitkit.workflow import body_job, start_job
from tests.truth import solids

COLUMN = solids.cylinder(120, 500, 25)


@pytest.fixture
def job(tmp_path: Path) -> Path:
    start_job(tmp_path / "job", wearer="Robin")
    return tmp_path / "job"


def lying(scale: float = 0.1) -> TriangleMesh:
    """Lay the column down along y, in centimetres."""
    x, y, z = COLUMN.vertices.T
    return COLUMN.with_vertices(scale * np.column_stack([x, z, -y]) + [7, 8, 9])


def state(job: Path) -> dict[str, bytes]:
    return {
        path.relative_to(job).as_posix(): path.read_bytes()
        for path in job.rglob("*")
        if path.is_file() and ".fitkit" not in path.parts
    }


def test_a_mesh_in_centimetres_lying_down_becomes_an_upright_body(
    tmp_path: Path, job: Path
) -> None:
    write_mesh(tmp_path / "column.obj", lying())
    (report,) = body_job(job, tmp_path / "column.obj", unit="cm", up="y")
    assert report.ran
    assert "500 mm tall" in report.words
    body = read_body(job / "body")
    low, high = body.mesh.bounds_mm()
    assert low[2] == pytest.approx(0, abs=1e-6)
    assert high - low == pytest.approx([240, 240, 500], abs=3)
    assert (job / "column.obj").read_bytes() == (tmp_path / "column.obj").read_bytes()
    section = open_job(job).settings.body
    assert (section.from_mesh, section.mesh_unit, section.up) == ("column.obj", "cm", "y")
    (again,) = body_job(job)
    assert not again.ran, "it still holds"


def test_a_damaged_mesh_is_repaired_with_findings_and_marked_where_filled(
    tmp_path: Path, job: Path
) -> None:
    corners = COLUMN.corners.mean(axis=1)
    hole = np.linalg.norm(corners - [0, -120, corners[:, 2].mean()], axis=1) > 60
    write_mesh(tmp_path / "column.ply", COLUMN.faces_only(np.flatnonzero(hole))[0])
    (report,) = body_job(job, tmp_path / "column.ply", unit="mm")
    assert "mesh-hole" in {finding.code for finding in report.findings}
    body = read_body(job / "body")
    filled = body.trust_mm > 0
    assert filled.any()
    assert (body.mesh.vertices[filled, 1] < -80).all(), "the hole was in front"


def test_a_glb_needs_no_unit(tmp_path: Path, job: Path) -> None:
    write_mesh(tmp_path / "column.glb", COLUMN)
    body_job(job, tmp_path / "column.glb")
    assert np.ptp(read_body(job / "body").mesh.vertices[:, 2]) == pytest.approx(500, abs=0.01)


def test_without_a_plain_unit_nothing_is_taken(tmp_path: Path, job: Path) -> None:
    write_mesh(tmp_path / "column.stl", lying(1 / 25.4))
    before = state(job)
    with pytest.raises(InputError, match="in what unit"):
        body_job(job, tmp_path / "column.stl")
    assert state(job) == before


def test_what_fails_later_leaves_the_last_mesh_and_body(tmp_path: Path, job: Path) -> None:
    write_mesh(tmp_path / "column.ply", COLUMN)
    body_job(job, tmp_path / "column.ply", unit="mm")
    before = state(job)
    write_mesh(tmp_path / "column.ply", lying(1.0))
    with pytest.raises(InputError, match="same way"):
        body_job(job, tmp_path / "column.ply", unit="mm", up="x", front="-x")
    flat = TriangleMesh(np.diag([500.0, 300, 400]), np.array([[0, 1, 2]]))
    write_mesh(tmp_path / "flat.ply", flat)
    with pytest.raises(MeshError):
        body_job(job, tmp_path / "flat.ply", unit="mm")
    with pytest.raises(JobError):
        body_job(job, tmp_path / "column.ply", unit="mm", up="w")
    assert state(job) == before


def test_three_points_stand_it_up_and_a_corrected_landmark_outlives_the_next_mesh(
    tmp_path: Path, job: Path
) -> None:
    write_mesh(tmp_path / "column.ply", lying())
    text = (job / "job.toml").read_text(encoding="utf-8").replace("[form]", """[body]
from_mesh = "column.ply"
mesh_unit = "cm"
[body.stand]
low = [7, 8, 9]
high = [7, 40, 9]
front = [7, 8, 30]
[body.landmarks]
"left armpit" = [125, 0, "30 cm"]
[form]""")  # fmt: skip
    text = text.replace("[body]\n# A stand-in's", "# A stand-in's")
    (job / "job.toml").write_text(text, encoding="utf-8")
    for scale in (0.1, 0.098):
        write_mesh(job / "column.ply", lying(scale))
        (report,) = body_job(job)[-1:]
        assert report.ran
        at = read_body(job / "body").landmark("left armpit").at_mm
        assert at == pytest.approx([1200 * scale, 0, 300], abs=2)
        assert "landmark-by-hand" in {finding.code for finding in report.findings}
