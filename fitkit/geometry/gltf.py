"""glTF 2.0: the triangles of a scene, in millimetres and z up.

The standard fixes the unit (metres) and the way up (+y, the front towards +z), so nothing
needs to be asked about such a file.
"""

from __future__ import annotations

import base64
import binascii
import json
from collections.abc import Callable, Iterator
from typing import Any
from urllib.parse import unquote

import numpy as np

from fitkit.errors import MeshError, ShapeError
from fitkit.geometry.arrays import Floats, Ints
from fitkit.geometry.mesh import TriangleMesh

__all__ = ["glb_bytes", "mesh_from_gltf", "self_contained_gltf"]

_MAGIC, _JSON, _BIN = 0x46546C67, 0x4E4F534A, 0x004E4942
_REMEDY = "Export it again as binary glTF 2.0 (.glb), without mesh compression."
_COMPONENTS = {5120: "<i1", 5121: "<u1", 5122: "<i2", 5123: "<u2", 5125: "<u4", 5126: "<f4"}
_WIDTHS = {"SCALAR": 1, "VEC2": 2, "VEC3": 3, "VEC4": 4, "MAT2": 4, "MAT3": 9, "MAT4": 16}
# The largest value of each integer kind, by which normalised numbers are divided.
_LARGEST = {5120: 127.0, 5121: 255.0, 5122: 32767.0, 5123: 65535.0}
_MM_PER_M = 1000.0
_DEEPEST = 200


def mesh_from_gltf(data: bytes, beside: Callable[[str], bytes] | None = None) -> TriangleMesh:
    """Return all triangles of a glTF file's scene as one mesh.

    Every node's place in the scene is applied. The file's metres become millimetres; its +y
    becomes z and its front, +z, becomes -y, so that the wearer's left is +x.

    Parameters
    ----------
    data
        Content of a ``.glb`` or ``.gltf`` file.
    beside
        Gives the content of a file that the ``.gltf`` names beside itself.

    Raises
    ------
    MeshError
        When it is damaged, compressed, or holds no triangles.

    References
    ----------
    Khronos Group, *glTF 2.0 Specification*, 2021 (ISO/IEC 12113:2022): 3.4 coordinate system and
    units, 3.5 scenes, 3.6 binary data, 3.7 geometry, 4 GLB layout (from memory).
    """
    document, chunk = _opened(data)
    try:
        needed = set(document.get("extensionsRequired", []))
        packed = needed & {"KHR_draco_mesh_compression", "EXT_meshopt_compression"}
        if packed:
            raise MeshError(f"The glTF file is compressed ({', '.join(sorted(packed))}).", _REMEDY)
        buffers = [_buffer(row, chunk, beside) for row in document.get("buffers", [])]
        parts = list(_parts(document, buffers))
    except (AttributeError, KeyError, IndexError, TypeError, ValueError, RecursionError) as error:
        if isinstance(error, MeshError):
            raise
        raise MeshError("The glTF file is damaged.", _REMEDY) from error
    if not parts:
        raise MeshError("There are no triangles in the glTF scene.", _REMEDY)
    starts = np.cumsum([0, *(len(points) for points, _ in parts)])
    points = np.vstack([points for points, _ in parts])
    faces = np.vstack([part + start for (_, part), start in zip(parts, starts, strict=False)])
    x, y, z = _MM_PER_M * points.T
    try:
        return TriangleMesh(np.column_stack([x, -z, y]), faces)
    except ShapeError as error:
        raise MeshError(f"The glTF file does not hold a mesh: {error.cause}", _REMEDY) from error


def self_contained_gltf(data: bytes, beside: Callable[[str], bytes]) -> bytes:
    """Return a ``.gltf`` whose binary parts are inside it, so that it can be moved alone."""
    document, chunk = _opened(data)
    if chunk is not None:
        return data
    for row in document.get("buffers", []):
        content = base64.b64encode(_buffer(row, None, beside)).decode()
        row["uri"] = f"data:application/octet-stream;base64,{content}"
    return json.dumps(document).encode()


def glb_bytes(mesh: TriangleMesh) -> bytes:
    """Return a mesh in millimetres, z up, as binary glTF 2.0, in single precision."""
    x, y, z = mesh.vertices.T / _MM_PER_M
    points = np.column_stack([x, z, -y]).astype("<f4")
    faces = mesh.faces.astype("<u4")
    content = points.tobytes() + faces.tobytes()
    views = [
        {"buffer": 0, "byteOffset": 0, "byteLength": points.nbytes, "target": 34962},
        {"buffer": 0, "byteOffset": points.nbytes, "byteLength": faces.nbytes, "target": 34963},
    ]
    accessors = [
        {
            "bufferView": 0,
            "componentType": 5126,
            "count": len(points),
            "type": "VEC3",
            "min": points.min(axis=0).tolist(),
            "max": points.max(axis=0).tolist(),
        },
        {"bufferView": 1, "componentType": 5125, "count": faces.size, "type": "SCALAR"},
    ]
    document = {
        "asset": {"version": "2.0", "generator": "fitkit"},
        "scene": 0,
        "scenes": [{"nodes": [0]}],
        "nodes": [{"mesh": 0}],
        "meshes": [{"primitives": [{"attributes": {"POSITION": 0}, "indices": 1}]}],
        "buffers": [{"byteLength": len(content)}],
        "bufferViews": views,
        "accessors": accessors,
    }
    text = json.dumps(document, separators=(",", ":")).encode()
    text += b" " * (-len(text) % 4)
    content += b"\0" * (-len(content) % 4)

    def words(*numbers: int) -> bytes:
        return b"".join(number.to_bytes(4, "little") for number in numbers)

    chunks = words(len(text), _JSON) + text + words(len(content), _BIN) + content
    return words(_MAGIC, 2, 12 + len(chunks)) + chunks


def _opened(data: bytes) -> tuple[dict[str, Any], bytes | None]:
    """Return the JSON document and, of a GLB, its binary chunk."""
    chunk: bytes | None = None
    text = data
    if int.from_bytes(data[:4], "little") == _MAGIC:
        length = int.from_bytes(data[8:12], "little")
        if int.from_bytes(data[4:8], "little") != 2 or length > len(data) or length < 20:
            raise MeshError("The GLB file ends early or is not version 2.", _REMEDY)
        text, chunk, at = b"", b"", 12
        while at + 8 <= length:
            size = int.from_bytes(data[at : at + 4], "little")
            kind = int.from_bytes(data[at + 4 : at + 8], "little")
            content = data[at + 8 : at + 8 + size]
            if kind == _JSON:
                text = content
            elif kind == _BIN:
                chunk = content
            at += 8 + size
    try:
        document = json.loads(text.decode("utf-8"))
    except (ValueError, UnicodeDecodeError) as error:
        raise MeshError("The glTF file's JSON cannot be read.", _REMEDY) from error
    if not isinstance(document, dict) or "asset" not in document:
        raise MeshError("The file is not glTF.", _REMEDY)
    return document, chunk


def _buffer(
    row: dict[str, Any], chunk: bytes | None, beside: Callable[[str], bytes] | None
) -> bytes:
    uri = row.get("uri")
    if uri is None:
        content = chunk
    elif uri.startswith("data:"):
        try:
            content = base64.b64decode(uri.partition(",")[2], validate=True)
        except binascii.Error as error:
            raise MeshError("A buffer of the glTF file is damaged.", _REMEDY) from error
    else:
        content = None if beside is None else beside(unquote(uri))
    if content is None:
        raise MeshError(f"A buffer of the glTF file is missing ({uri or 'inside'}).", _REMEDY)
    if len(content) < row["byteLength"]:
        raise MeshError("A buffer of the glTF file ends early.", _REMEDY)
    return content


def _parts(document: dict[str, Any], buffers: list[bytes]) -> Iterator[tuple[Floats, Ints]]:
    """Yield the points in scene metres and the triangles of every primitive that is drawn."""
    nodes = document.get("nodes", [])
    scenes = document.get("scenes", [])
    if scenes:
        roots = scenes[document.get("scene", 0)].get("nodes", [])
    else:
        below = {child for node in nodes for child in node.get("children", [])}
        roots = [number for number in range(len(nodes)) if number not in below]
    waiting = [(number, np.eye(4), 0) for number in roots]
    while waiting:
        number, scene_from_parent, depth = waiting.pop(0)
        if depth > _DEEPEST:
            raise MeshError("The nodes of the glTF file go round in a ring.", _REMEDY)
        node = nodes[number]
        scene_from_node = scene_from_parent @ _placed(node)
        waiting += [(child, scene_from_node, depth + 1) for child in node.get("children", [])]
        if "mesh" not in node:
            continue
        for primitive in document["meshes"][node["mesh"]]["primitives"]:
            position = primitive.get("attributes", {}).get("POSITION")
            if position is None:
                continue
            points = _numbers(document, buffers, position).astype(np.float64)
            order = (
                _numbers(document, buffers, primitive["indices"]).ravel().astype(np.int64)
                if "indices" in primitive
                else np.arange(len(points))
            )
            faces = _triangles(order, primitive.get("mode", 4))
            if faces is None or len(faces) == 0:
                continue
            if np.linalg.det(scene_from_node[:3, :3]) < 0:
                faces = faces[:, ::-1]  # a mirroring node turns the winding over
            yield points @ scene_from_node[:3, :3].T + scene_from_node[:3, 3], faces


def _placed(node: dict[str, Any]) -> Floats:
    """(4, 4): parent from node."""
    if "matrix" in node:
        matrix: Floats = np.array(node["matrix"], dtype=np.float64).reshape(4, 4).T
        return matrix
    x, y, z, w = np.array(node.get("rotation", [0, 0, 0, 1]), dtype=np.float64)
    rotation = np.array(
        [
            [1 - 2 * (y * y + z * z), 2 * (x * y - z * w), 2 * (x * z + y * w)],
            [2 * (x * y + z * w), 1 - 2 * (x * x + z * z), 2 * (y * z - x * w)],
            [2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y)],
        ]
    )
    placed = np.eye(4)
    placed[:3, :3] = rotation * np.array(node.get("scale", [1, 1, 1]), dtype=np.float64)
    placed[:3, 3] = node.get("translation", [0, 0, 0])
    return placed


def _triangles(order: Ints, mode: int) -> Ints | None:
    """(F, 3) of triangles, strips or fans; None for points and lines."""
    if mode == 4:
        return order[: len(order) // 3 * 3].reshape(-1, 3)
    if mode == 5:
        strip = np.stack([order[:-2], order[1:-1], order[2:]], axis=1)
        strip[1::2] = strip[1::2][:, [1, 0, 2]]
        return strip
    if mode == 6:
        return np.stack([order[1:-1], order[2:], np.full(len(order) - 2, order[0])], axis=1)
    return None


def _numbers(document: dict[str, Any], buffers: list[bytes], number: int) -> Any:
    """(N, width): the numbers of an accessor, sparse substitutes put in."""
    row = document["accessors"][number]
    width, count, kind = _WIDTHS[row["type"]], int(row["count"]), row["componentType"]
    if "bufferView" in row:
        values = _viewed(
            document, buffers, row["bufferView"], row.get("byteOffset", 0), kind, count, width
        )
    else:
        values = np.zeros((count, width), dtype=_COMPONENTS[kind])
    if "sparse" in row:
        sparse = row["sparse"]
        some, at, by = int(sparse["count"]), sparse["indices"], sparse["values"]
        where = _viewed(
            document, buffers, at["bufferView"], at.get("byteOffset", 0), at["componentType"],
            some, 1,
        )  # fmt: skip
        values = values.copy()
        values[where.ravel().astype(np.int64)] = _viewed(
            document, buffers, by["bufferView"], by.get("byteOffset", 0), kind, some, width
        )
    if row.get("normalized"):
        return np.maximum(values.astype(np.float64) / _LARGEST[kind], -1.0)
    return values


def _viewed(
    document: dict[str, Any],
    buffers: list[bytes],
    view_number: int,
    offset: int,
    kind: int,
    count: int,
    width: int,
) -> Any:
    view = document["bufferViews"][view_number]
    dtype = np.dtype(_COMPONENTS[kind])
    stride = view.get("byteStride", dtype.itemsize * width)
    start = view.get("byteOffset", 0) + offset
    content = buffers[view["buffer"]]
    last = start + (count - 1) * stride + dtype.itemsize * width
    if count < 0 or start < 0 or (count and last > len(content)):
        raise MeshError("A buffer of the glTF file ends early.", _REMEDY)
    if not count:
        return np.zeros((0, width), dtype=dtype)
    rows = np.ndarray((count, width), dtype, content, start, (stride, dtype.itemsize))
    return rows.copy()
