from __future__ import annotations

import base64
import io
import json
from pathlib import Path

import numpy as np
import pytest
import trimesh

from fitkit.errors import FileError, MeshError
from fitkit.geometry.gltf import glb_bytes, mesh_from_gltf
from fitkit.geometry.mesh_files import mesh_file_bytes, read_mesh
from tests.truth import solids

BALL = solids.sphere(100 / 3, 9)


def document(points: np.ndarray, indices: np.ndarray, **changes: object) -> dict[str, object]:
    content = points.astype("<f4").tobytes() + indices.astype("<u2").tobytes()
    values: dict[str, object] = {
        "asset": {"version": "2.0"},
        "scene": 0,
        "scenes": [{"nodes": [0]}],
        "nodes": [{"mesh": 0}],
        "meshes": [{"primitives": [{"attributes": {"POSITION": 0}, "indices": 1}]}],
        "accessors": [
            {"bufferView": 0, "componentType": 5126, "count": len(points), "type": "VEC3"},
            {"bufferView": 1, "componentType": 5123, "count": len(indices), "type": "SCALAR"},
        ],
        "bufferViews": [
            {"buffer": 0, "byteLength": 12 * len(points)},
            {"buffer": 0, "byteOffset": 12 * len(points), "byteLength": 2 * len(indices)},
        ],
        "buffers": [
            {
                "byteLength": len(content),
                "uri": "data:application/octet-stream;base64," + base64.b64encode(content).decode(),
            }
        ],
    }
    return values | changes


TRIANGLE = np.array([[0.0, 0, 0], [1, 0, 0], [0, 2, 3]])


def test_metres_become_millimetres_y_becomes_up_and_the_front_faces_minus_y() -> None:
    """GlTF 2.0, section 3.4: metres, +y up, the front towards +z."""
    mesh = mesh_from_gltf(json.dumps(document(TRIANGLE, np.array([0, 1, 2]))).encode())
    assert mesh.vertices.tolist() == [[0, 0, 0], [1000, 0, 0], [0, -3000, 2000]]
    assert mesh.faces.tolist() == [[0, 1, 2]]


def test_what_is_written_reads_back_and_trimesh_reads_it_too() -> None:
    """Reference library: trimesh keeps metres and y up."""
    data = glb_bytes(BALL)
    assert np.abs(mesh_from_gltf(data).corners - BALL.corners).max() < 1e-5
    scene = trimesh.load(io.BytesIO(data), file_type="glb", process=False)
    other = scene.to_geometry()
    x, y, z = 1000.0 * np.asarray(other.vertices).T
    corners = np.column_stack([x, -z, y])[np.asarray(other.faces)]
    assert np.abs(corners - BALL.corners).max() < 1e-5


def test_a_scene_of_placed_nodes_is_read_as_trimesh_reads_it() -> None:
    """Reference library: trimesh applies a turned, scaled child of a mirrored parent."""
    turn = np.array([0.1, 0.3, -0.2, 0.9])
    turn /= np.linalg.norm(turn)
    mirrored = np.diag([-1.0, 1.0, 1.0, 1.0])
    mirrored[:3, 3] = [0.5, 0.25, 1]
    nodes = [
        {"children": [1, 2], "matrix": mirrored.T.ravel().tolist()},
        {
            "mesh": 0,
            "translation": [1, 2, 3],
            "rotation": turn.tolist(),
            "scale": [2, 0.5, 1.5],
        },
        {"mesh": 0},
    ]
    x, y, z = BALL.vertices.T / 1000.0
    points = np.column_stack([x, z, -y])
    text = json.dumps(document(points, BALL.faces.ravel(), nodes=nodes)).encode()
    mesh = mesh_from_gltf(text)
    other = trimesh.load(io.BytesIO(text), file_type="gltf", process=False).to_geometry()
    assert len(mesh.faces) == 2 * len(BALL.faces)
    assert mesh.area_mm2() == pytest.approx(1e6 * other.area, rel=1e-5)
    assert mesh.volume_mm3() == pytest.approx(1e9 * abs(other.volume), rel=1e-5)
    assert mesh.volume_mm3() > 0, "a mirroring node does not turn the surface inside out"
    low, high = 1000.0 * np.asarray(other.bounds)
    assert mesh.bounds_mm()[0] == pytest.approx([low[0], -high[2], low[1]], abs=1e-3)
    assert mesh.bounds_mm()[1] == pytest.approx([high[0], -low[2], high[1]], abs=1e-3)


def test_strips_fans_interleaved_and_sparse_numbers_are_read() -> None:
    square = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0], [1, 1, 0]])
    for mode, order in ((5, [0, 1, 2, 3]), (6, [0, 1, 3, 2])):
        values = document(square, np.array(order))
        values["meshes"][0]["primitives"][0]["mode"] = mode  # type: ignore[index]
        mesh = mesh_from_gltf(json.dumps(values).encode())
        assert mesh.area_mm2() == pytest.approx(1e6)
        normals = mesh.face_normals_scaled()
        assert (normals[:, 1] < 0).all(), "both face +z of the file, the front"
    # Positions with a normal between them, one position put in sparsely.
    rows = np.hstack([TRIANGLE, np.ones((3, 3))]).astype("<f4")
    rows[2, :3] = 9
    content = rows.tobytes() + np.array([2], "<u2").tobytes() + b"\0\0"
    content += np.array([[0, 2, 3]], "<f4").tobytes()
    values = document(TRIANGLE, np.array([0, 1, 2]))
    values["buffers"] = [
        {"byteLength": len(content), "uri": "data:;base64," + base64.b64encode(content).decode()}
    ]
    values["bufferViews"] = [
        {"buffer": 0, "byteLength": 72, "byteStride": 24},
        {"buffer": 0, "byteOffset": 72, "byteLength": 2},
        {"buffer": 0, "byteOffset": 76, "byteLength": 12},
    ]
    values["accessors"] = [
        {
            "bufferView": 0,
            "componentType": 5126,
            "count": 3,
            "type": "VEC3",
            "sparse": {
                "count": 1,
                "indices": {"bufferView": 1, "componentType": 5123},
                "values": {"bufferView": 2},
            },
        }
    ]
    values["meshes"] = [{"primitives": [{"attributes": {"POSITION": 0}}]}]
    mesh = mesh_from_gltf(json.dumps(values).encode())
    assert mesh.vertices.tolist() == [[0, 0, 0], [1000, 0, 0], [0, -3000, 2000]]


def test_binary_parts_beside_the_file_are_found_and_can_be_put_inside(tmp_path: Path) -> None:
    values = document(TRIANGLE, np.array([0, 1, 2]))
    content = base64.b64decode(str(values["buffers"][0]["uri"]).partition(",")[2])  # type: ignore[index]
    values["buffers"] = [{"byteLength": len(content), "uri": "body%20data.bin"}]
    (tmp_path / "body data.bin").write_bytes(content)
    (tmp_path / "body.gltf").write_text(json.dumps(values))
    beside = read_mesh(tmp_path / "body.gltf")
    (tmp_path / "alone").mkdir()
    (tmp_path / "alone" / "body.gltf").write_bytes(mesh_file_bytes(tmp_path / "body.gltf"))
    alone = read_mesh(tmp_path / "alone" / "body.gltf")
    assert np.array_equal(alone.vertices, beside.vertices)
    (tmp_path / "body data.bin").unlink()
    with pytest.raises(FileError, match="body data"):
        read_mesh(tmp_path / "body.gltf")


@pytest.mark.parametrize(
    "data",
    [
        b"no json",
        b"{}",
        glb_bytes(BALL)[:-40],
        glb_bytes(BALL)[:15],
        json.dumps(document(TRIANGLE, np.array([0, 1, 9]))).encode(),
        json.dumps(document(TRIANGLE, np.array([0, 1, 2]), nodes=[])).encode(),
        json.dumps(document(TRIANGLE, np.array([0, 1, 2]), nodes=[{"children": [0]}])).encode(),
        json.dumps(document(TRIANGLE, np.array([0, 1, 2]), nodes=[{}])).encode(),
        json.dumps(document(TRIANGLE, np.array([0, 1, 2]), buffers=[{"byteLength": 4}])).encode(),
        json.dumps(
            document(
                TRIANGLE, np.array([0, 1, 2]), extensionsRequired=["KHR_draco_mesh_compression"]
            )
        ).encode(),
    ],
)
def test_damaged_files_are_refused_in_words(data: bytes) -> None:
    with pytest.raises(MeshError) as caught:
        mesh_from_gltf(data)
    assert caught.value.cause.endswith(".")
    assert "glb" in caught.value.remedy
