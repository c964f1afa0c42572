"""A mesh given by hand: known by its content, bounded, asked about, and made into the body."""

from __future__ import annotations

import base64
import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from fitkit.errors import JobError, MeshError
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.mesh_files import glb_bytes, obj_bytes, off_bytes, ply_bytes, stl_bytes
from fitkit.job.body_files import read_body
from fitkit.job.job_folder import open_job
from fitkit.workflow import take_in_mesh as taking
from fitkit.workflow.start_job import start_job
from fitkit.workflow.take_in_mesh import (
    MeshToTake,
    arriving_mesh,
    leave_mesh,
    mesh_to_take,
    receive_mesh,
    take_mesh,
)
from tests.truth.solids import cylinder

COLUMN = cylinder(120, 500, 25)
WAITING = Path(".fitkit") / "waiting"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    start_job(tmp_path / "job", wearer="Robin")
    return tmp_path / "job"


def received(folder: Path, content: bytes) -> MeshToTake:
    with arriving_mesh(folder) as arriving:
        for start in range(0, len(content), 4096):
            arriving.write(content[start : start + 4096])
        return receive_mesh(folder, arriving)


def standing(mesh: TriangleMesh, factor: float) -> TriangleMesh:
    return mesh.with_vertices(factor * mesh.vertices)


@pytest.mark.parametrize(
    ("ending", "written"),
    [
        (".ply", ply_bytes),
        (".obj", obj_bytes),
        (".off", off_bytes),
        (".stl", stl_bytes),
        (".glb", glb_bytes),
    ],
)
def test_its_kind_is_known_by_its_content(
    folder: Path, ending: str, written: Callable[[TriangleMesh], bytes]
) -> None:
    waiting = received(folder, written(COLUMN))
    assert waiting.triangles == len(COLUMN.faces)
    assert waiting.readings[0] == ("mm", pytest.approx(500.0, abs=0.01))
    assert waiting.stands == (ending == ".glb")
    names = {path.name for path in (folder / WAITING).iterdir()}
    assert names == {f"body-mesh{ending}", "body-mesh.json"}
    assert not (folder / ".fitkit" / "arriving").exists()


def test_a_size_that_may_be_several_units_is_asked_about_and_taken_as_told(folder: Path) -> None:
    """50 long: half a metre in centimetres, 1.27 m in inches; no body in mm or m."""
    assert mesh_to_take(folder) is None
    waiting = received(folder, ply_bytes(standing(COLUMN, 0.1)))
    assert {unit: round(mm) for unit, mm in waiting.readings} == {"in": 1270, "cm": 500}
    (report,) = take_mesh(folder, "cm", up="z")
    assert report.ran
    low, high = read_body(folder / "body").mesh.bounds_mm()
    assert high[2] - low[2] == pytest.approx(500.0, abs=3.0)
    section = open_job(folder).settings.body
    assert (section.from_mesh, section.mesh_unit) == ("body-mesh.ply", "cm")
    assert mesh_to_take(folder) is None
    # Another one, in millimetres: how the first was read is said no more.
    received(folder, stl_bytes(COLUMN))
    take_mesh(folder, "mm", up="z")
    section = open_job(folder).settings.body
    assert (section.from_mesh, section.mesh_unit) == ("body-mesh.stl", "mm")


def test_a_mesh_that_makes_no_body_waits_on_and_may_be_left(folder: Path) -> None:
    flat = TriangleMesh(np.array([[0.0, 0, 0], [500, 0, 0], [0, 500, 0]]), np.array([[0, 1, 2]]))
    received(folder, ply_bytes(flat))
    before = (folder / "job.toml").read_bytes()
    with pytest.raises(MeshError):
        take_mesh(folder, "mm")
    assert (folder / "job.toml").read_bytes() == before
    assert mesh_to_take(folder) is not None
    leave_mesh(folder)
    assert mesh_to_take(folder) is None
    assert not (folder / WAITING).exists()
    with pytest.raises(JobError, match="No mesh waits"):
        take_mesh(folder, "mm")


def gltf(uri: str, length: int) -> bytes:
    document = {
        "asset": {"version": "2.0"},
        "buffers": [{"uri": uri, "byteLength": length}],
        "bufferViews": [{"buffer": 0, "byteLength": 36}],
        "accessors": [{"bufferView": 0, "componentType": 5126, "count": 3, "type": "VEC3"}],
        "meshes": [{"primitives": [{"attributes": {"POSITION": 0}}]}],
        "nodes": [{"mesh": 0}],
    }
    return json.dumps(document).encode()


def test_a_gltf_that_holds_everything_is_taken_and_one_that_names_a_file_is_not(
    folder: Path,
) -> None:
    corners = np.array([[0, 0, 0], [0.5, 0, 0], [0, 0.5, 0]], dtype="<f4").tobytes()
    inside = "data:application/octet-stream;base64," + base64.b64encode(corners).decode()
    assert received(folder, gltf(inside, 36)).triangles == 1
    leave_mesh(folder)
    (folder / "secret.bin").write_bytes(corners)
    for uri in ("../secret.bin", "../../secret.bin", str(folder / "secret.bin")):
        with pytest.raises(MeshError, match="missing"):
            received(folder, gltf(uri, 36))
    assert mesh_to_take(folder) is None


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "no mesh file"),
        (b"These are words.\n" * 50, "no mesh file"),
        (b"ply\nformat ascii 1.0\nelement vertex many\nend_header\n", "PLY"),
        (b"glTF" + b"\0" * 60, "GLB"),
        (b'{"asset": {}, "buffers": [5]}', "glTF"),
        (obj_bytes(COLUMN.with_vertices(1e-6 * COLUMN.vertices)), "in no unit"),
    ],
)
def test_what_is_no_mesh_of_a_body_is_refused_and_leaves_nothing(
    folder: Path, content: bytes, says: str
) -> None:
    with pytest.raises(MeshError, match=says) as caught:
        received(folder, content)
    assert caught.value.remedy
    assert not (folder / ".fitkit" / "arriving").exists()
    assert not (folder / WAITING).exists()


def test_more_triangles_than_a_machine_can_bear_are_refused(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(taking, "MOST_TRIANGLES", 100)
    with pytest.raises(MeshError, match="100 are the most"):
        received(folder, ply_bytes(COLUMN))
