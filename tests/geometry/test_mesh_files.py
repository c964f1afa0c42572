from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pytest
import trimesh

from fitkit.errors import FileError, MeshError, ShapeError
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.mesh_files import (
    mesh_from_obj,
    mesh_from_off,
    mesh_from_ply,
    mesh_from_stl,
    obj_bytes,
    off_bytes,
    ply_bytes,
    ply_contents,
    read_mesh,
    stl_bytes,
    write_mesh,
)
from tests.truth import solids

BALL = solids.sphere(100 / 3, 9)


def assert_same_mesh(first: TriangleMesh, second: TriangleMesh, tolerance_mm: float = 0.0) -> None:
    assert np.array_equal(first.faces, second.faces)
    assert np.abs(first.vertices - second.vertices).max() <= tolerance_mm


@pytest.mark.parametrize("ascii_text", [False, True])
def test_ply_in_double_precision_reads_back_to_the_last_bit(ascii_text: bool) -> None:
    assert_same_mesh(mesh_from_ply(ply_bytes(BALL, ascii_text=ascii_text)), BALL)


def test_ply_in_single_precision_is_smaller_and_good_to_10_nanometres() -> None:
    data = ply_bytes(BALL, precision="float32")
    assert len(ply_bytes(BALL)) - len(data) > 12 * len(BALL.vertices) - 10
    assert_same_mesh(mesh_from_ply(data), BALL, 1e-5)


@pytest.mark.parametrize("ascii_text", [False, True])
def test_ply_keeps_normals_and_further_numbers(ascii_text: bool) -> None:
    trust = np.linspace(0, 7, len(BALL.vertices))
    data = ply_bytes(
        BALL,
        normals=BALL.vertex_normals(),
        vertex_floats={"trust_mm": trust},
        ascii_text=ascii_text,
    )
    contents = ply_contents(data)
    assert contents.normals is not None
    assert np.array_equal(contents.normals, BALL.vertex_normals())
    assert list(contents.vertex_floats) == ["trust_mm"]
    assert np.array_equal(contents.vertex_floats["trust_mm"], trust)


def test_ply_keeps_a_cloud() -> None:
    cloud = TriangleMesh(BALL.vertices, np.zeros((0, 3), dtype=np.int64))
    assert_same_mesh(TriangleMesh(ply_contents(ply_bytes(cloud)).mesh.vertices, BALL.faces), BALL)


def test_the_same_mesh_gives_the_same_bytes() -> None:
    assert ply_bytes(BALL) == ply_bytes(solids.sphere(100 / 3, 9))


@pytest.mark.parametrize(
    ("make", "kind", "tolerance_mm"),
    [
        (ply_bytes, "ply", 0.0),
        (obj_bytes, "obj", 0.0),
        (stl_bytes, "stl", 1e-5),
        (off_bytes, "off", 0.0),
    ],
)
def test_trimesh_reads_what_is_written(make, kind: str, tolerance_mm: float) -> None:  # type: ignore[no-untyped-def]
    """Reference library: trimesh's own readers."""
    read = trimesh.load(io.BytesIO(make(BALL)), file_type=kind, process=False)
    corners = np.asarray(read.vertices)[np.asarray(read.faces)]
    assert np.abs(corners - BALL.corners).max() <= tolerance_mm


@pytest.mark.parametrize(
    ("parse", "kind", "tolerance_mm"),
    [
        (mesh_from_ply, "ply", 1e-5),
        (mesh_from_obj, "obj", 1e-7),
        (mesh_from_stl, "stl", 1e-5),
        (mesh_from_off, "off", 1e-7),
    ],
)
def test_what_trimesh_writes_is_read(parse, kind: str, tolerance_mm: float) -> None:  # type: ignore[no-untyped-def]
    written = trimesh.Trimesh(BALL.vertices, BALL.faces, process=False).export(file_type=kind)
    mesh = parse(written.encode() if isinstance(written, str) else written)
    assert np.abs(mesh.corners - BALL.corners).max() <= tolerance_mm
    assert len(mesh.vertices) == len(BALL.vertices)


def test_text_stl_is_read_and_welded() -> None:
    """Reference library: trimesh writes the text form."""
    text = trimesh.Trimesh(BALL.vertices, BALL.faces, process=False).export(file_type="stl_ascii")
    mesh = mesh_from_stl(text.encode())
    assert len(mesh.vertices) == len(BALL.vertices)
    assert mesh.volume_mm3() == pytest.approx(BALL.volume_mm3(), rel=1e-6)


def test_big_endian_ply_with_mixed_polygons_colours_and_normals_is_read() -> None:
    """A quad and a triangle, written by hand after Turk 1994."""
    head = b"\n".join(
        [
            b"ply", b"format binary_big_endian 1.0", b"comment made by hand", b"element vertex 5",
            b"property float x", b"property float y", b"property float z", b"property uchar red",
            b"element face 2", b"property list uchar int vertex_index", b"property uchar flag",
            b"end_header", b"",
        ]
    )  # fmt: skip
    points = [(0, 0, 0), (2, 0, 0), (2, 2, 0), (0, 2, 0), (1, 3, 0)]
    body = b"".join(np.array(p, ">f4").tobytes() + b"\x09" for p in points)
    body += b"\x04" + np.array([0, 1, 2, 3], ">i4").tobytes() + b"\x01"
    body += b"\x03" + np.array([3, 2, 4], ">i4").tobytes() + b"\x01"
    contents = ply_contents(head + body)
    assert contents.mesh.faces.tolist() == [[0, 1, 2], [0, 2, 3], [3, 2, 4]]
    assert contents.mesh.area_mm2() == pytest.approx(5.0)
    assert contents.vertex_floats["red"].tolist() == [9] * 5


def test_obj_with_quads_textures_and_backward_numbers_is_read() -> None:
    text = b"o thing\nv 0 0 0\nv 2 0 0 0.1 0.2 0.3\nv 2 2 0\nv 0 2 0\nvt 0 0\nf 1/1 2/1 3/1 4/1\n"
    text += b"v 1 3 0\nf -2//1 -3//1 -1//1\n"
    mesh = mesh_from_obj(text)
    assert mesh.faces.tolist() == [[0, 1, 2], [0, 2, 3], [3, 2, 4]]


def test_off_with_quads_colours_and_remarks_is_read() -> None:
    text = b"OFF 5 2 0\n# by hand\n0 0 0\n2 0 0\n2 2 0\n0 2 0\n1 3 0 # top\n"
    text += b"4 0 1 2 3 255 0 0\n\n3 3 2 4\n"
    assert mesh_from_off(text).faces.tolist() == [[0, 1, 2], [0, 2, 3], [3, 2, 4]]


@pytest.mark.parametrize("kind", ["ply", "obj", "stl", "off", "glb"])
def test_files_read_back(tmp_path: Path, kind: str) -> None:
    path = tmp_path / f"ball.{kind}"
    write_mesh(path, BALL)
    mesh = read_mesh(path)
    assert mesh.area_mm2() == pytest.approx(BALL.area_mm2(), rel=1e-6)
    assert [p.name for p in tmp_path.iterdir()] == [path.name], "nothing unfinished is left"


def test_unknown_and_missing_files_are_told_by_name(tmp_path: Path) -> None:
    for action in (
        lambda: read_mesh(tmp_path / "chest.stp"),
        lambda: read_mesh(tmp_path / "chest.ply"),
        lambda: write_mesh(tmp_path / "nowhere" / "chest.ply", BALL),
        lambda: write_mesh(tmp_path / "chest.gltf", BALL),
    ):
        with pytest.raises(FileError, match="chest") as caught:
            action()
        assert caught.value.remedy
    write_mesh(tmp_path / "ball.ply", BALL)
    (tmp_path / "half.ply").write_bytes((tmp_path / "ball.ply").read_bytes()[:-500])
    with pytest.raises(MeshError, match=r"half\.ply"):
        read_mesh(tmp_path / "half.ply")


@pytest.mark.parametrize(
    ("parse", "data"),
    [
        (mesh_from_ply, b"solid nothing"),
        (mesh_from_ply, b"ply\nformat ascii 1.0\nelement vertex x\nend_header\n"),
        (mesh_from_ply, b"ply\nformat strange 1.0\nend_header\n"),
        (
            mesh_from_ply,
            b"ply\nformat ascii 1.0\nelement vertex 1\nproperty float u\nend_header\n1\n",
        ),
        (mesh_from_ply, ply_bytes(BALL)[:-3]),
        (mesh_from_ply, ply_bytes(BALL)[:600]),
        (mesh_from_ply, ply_bytes(BALL, ascii_text=True)[:-300]),
        (mesh_from_ply, ply_bytes(BALL, ascii_text=True).replace(b"3 0 1", b"3 0 99999", 1)),
        (mesh_from_obj, b"v 0 0\n"),
        (mesh_from_obj, b"v 0 0 0\nf 1 2 3\n"),
        (mesh_from_obj, b"v 0 0 0\nf 0 1 1\n"),
        (mesh_from_off, off_bytes(BALL)[:-300]),
        (mesh_from_off, b"OFF\n3 1 0\n0 0 0\n1 0 0\n0 1 0\n3 0 1 7\n"),
        (mesh_from_off, b"OFF BINARY\n"),
        (mesh_from_stl, stl_bytes(BALL)[:-10]),
        (mesh_from_stl, b"solid x\nfacet\nvertex 1 2\n"),
    ],
)
def test_damaged_files_are_refused_in_words(parse, data: bytes) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(MeshError) as caught:
        parse(data)
    assert caught.value.cause.endswith(".")
    assert caught.value.remedy.endswith(".")


def test_a_number_per_vertex_needs_a_free_name_and_the_right_length() -> None:
    with pytest.raises(ShapeError, match="'x'"):
        ply_bytes(BALL, vertex_floats={"x": np.zeros(len(BALL.vertices))})
    with pytest.raises(ShapeError, match="trust"):
        ply_bytes(BALL, vertex_floats={"trust": np.zeros(3)})
