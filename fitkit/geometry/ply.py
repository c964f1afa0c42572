"""PLY, the polygon file format, as bytes: ASCII and binary, reading any, writing little-endian.

References
----------
Greg Turk, "The PLY Polygon File Format", Stanford University, 1994.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np

from fitkit.errors import MeshError, ShapeError
from fitkit.geometry.arrays import Floats, Ints, frozen_floats
from fitkit.geometry.mesh import TriangleMesh

__all__ = ["PlyContents", "mesh_from_ply", "ply_bytes", "ply_contents"]

_TYPES = {
    "char": "i1", "uchar": "u1", "short": "i2", "ushort": "u2", "int": "i4", "uint": "u4",
    "float": "f4", "double": "f8",
    "int8": "i1", "uint8": "u1", "int16": "i2", "uint16": "u2", "int32": "i4", "uint32": "u4",
    "float32": "f4", "float64": "f8",
}  # fmt: skip
_ENDIAN = {"binary_little_endian": "<", "binary_big_endian": ">", "ascii": ""}
_REMEDY = "Export it again as PLY from the program that made it."


@dataclass(frozen=True, slots=True, eq=False)
class PlyContents:
    """What a PLY file holds.

    Attributes
    ----------
    mesh
        Vertices and triangles; no faces for a point cloud.
    normals
        (V, 3) float or None.
    vertex_floats
        Further numbers per vertex, (V,) float by name.
    """

    mesh: TriangleMesh
    normals: Floats | None = None
    vertex_floats: Mapping[str, Floats] = field(default_factory=dict)


def ply_bytes(
    mesh: TriangleMesh,
    *,
    normals: Floats | None = None,
    vertex_floats: Mapping[str, Floats] | None = None,
    precision: Literal["float32", "float64"] = "float64",
    ascii_text: bool = False,
) -> bytes:
    """Return a mesh, or without faces a point cloud, as PLY.

    Parameters
    ----------
    normals
        (V, 3) float, written as nx, ny, nz.
    vertex_floats
        (V,) float by property name.
    precision
        ``"float64"`` reads back to the last bit.
    ascii_text
        Write readable text in place of binary.

    Raises
    ------
    ShapeError
        When an array does not have one row per vertex.
    """
    count = len(mesh.vertices)
    columns = dict(zip("xyz", mesh.vertices.T, strict=True))
    if normals is not None:
        checked = frozen_floats(normals, (count, 3), "normals")
        columns |= dict(zip(("nx", "ny", "nz"), checked.T, strict=True))
    for name, values in (vertex_floats or {}).items():
        if name in columns or not name.isidentifier():
            raise ShapeError(
                f"'{name}' cannot name a number per vertex.", "Use another name, one word."
            )
        columns[name] = frozen_floats(values, (count,), name)
    word, code = ("double", "<f8") if precision == "float64" else ("float", "<f4")
    header = [
        "ply",
        f"format {'ascii' if ascii_text else 'binary_little_endian'} 1.0",
        "comment millimetres",
        f"element vertex {count}",
        *(f"property {word} {name}" for name in columns),
        f"element face {len(mesh.faces)}",
        "property list uchar int vertex_indices",
        "end_header",
    ]
    head = ("\n".join(header) + "\n").encode("ascii")
    table = np.column_stack(list(columns.values())).astype(code)
    if ascii_text:
        lines = [" ".join(map(str, row.tolist())) for row in table]
        lines += [f"3 {a} {b} {c}" for a, b, c in mesh.faces.tolist()]
        return head + ("\n".join(lines) + "\n").encode("ascii")
    faces = np.zeros(len(mesh.faces), dtype=[("n", "u1"), ("v", "<i4", 3)])
    faces["n"], faces["v"] = 3, mesh.faces
    return head + table.tobytes() + faces.tobytes()


def mesh_from_ply(data: bytes) -> TriangleMesh:
    """Return the mesh of a PLY file; polygons are split into triangles.

    Raises
    ------
    MeshError
        When it is not PLY, ends early, or holds no x, y and z.
    """
    return ply_contents(data).mesh


def ply_contents(data: bytes) -> PlyContents:
    """Return the mesh of a PLY file with its normals and further numbers per vertex.

    Raises
    ------
    MeshError
        As :func:`mesh_from_ply`.
    """
    form, elements, body = _header(data)
    try:
        tables = _ascii_tables(body, elements) if form == "ascii" else _tables(body, form, elements)
        vertex = tables.get("vertex", {})
        if any(axis not in vertex for axis in "xyz"):
            raise MeshError("The PLY file has no vertices with x, y and z.", _REMEDY)
        vertices = np.column_stack([vertex[axis] for axis in "xyz"]).astype(np.float64)
        face = tables.get("face", {})
        faces = face.get("vertex_indices", face.get("vertex_index", np.zeros((0, 3), np.int64)))
        mesh = TriangleMesh(vertices, faces)
        numbers = {
            name: frozen_floats(column, (len(vertices),), name)
            for name, column in vertex.items()
            if name not in "xyz" and column.ndim == 1
        }
    except MeshError:
        raise
    except ShapeError as error:
        raise MeshError(f"The PLY file does not hold a mesh: {error.cause}", _REMEDY) from error
    except (ValueError, IndexError, OverflowError) as error:
        raise MeshError("The PLY file ends early or is damaged.", _REMEDY) from error
    normals = None
    if {"nx", "ny", "nz"} <= numbers.keys():
        normals = np.column_stack([numbers.pop(axis) for axis in ("nx", "ny", "nz")])
    return PlyContents(mesh, normals, numbers)


@dataclass(slots=True)
class _Element:
    name: str
    count: int
    # (name, type, type of the list's length or "")
    properties: list[tuple[str, str, str]] = field(default_factory=list)


def _header(data: bytes) -> tuple[str, list[_Element], bytes]:
    end = data.find(b"end_header")
    line_end = data.find(b"\n", end)
    if not data.startswith(b"ply") or end < 0 or line_end < 0:
        raise MeshError("The file does not begin with a PLY header.", _REMEDY)
    form, elements = "", []
    try:
        for line in data[:end].decode("ascii", errors="replace").splitlines():
            match line.split():
                case ["format", name, _]:
                    form = name
                case ["element", name, count]:
                    elements.append(_Element(name, int(count)))
                case ["property", "list", length, kind, name]:
                    elements[-1].properties.append((name, _TYPES[kind], _TYPES[length]))
                case ["property", kind, name]:
                    elements[-1].properties.append((name, _TYPES[kind], ""))
        if form not in _ENDIAN:
            raise ValueError(form)
    except (ValueError, KeyError, IndexError) as error:
        raise MeshError("The PLY header cannot be understood.", _REMEDY) from error
    return form, elements, data[line_end + 1 :]


def _tables(body: bytes, form: str, elements: list[_Element]) -> dict[str, dict[str, Any]]:
    endian, at = _ENDIAN[form], 0
    tables: dict[str, dict[str, Any]] = {}
    for element in elements:
        table, at = _binary_table(body, at, endian, element)
        tables[element.name] = table
    return tables


def _binary_table(
    body: bytes, at: int, endian: str, element: _Element
) -> tuple[dict[str, Any], int]:
    """Read one element; lists that are all triangles in one go, others one by one."""
    fields: list[Any] = []
    for name, kind, length in element.properties:
        if length:
            fields += [(f"{name} length", endian + length), (name, endian + kind, 3)]
        else:
            fields.append((name, endian + kind))
    row = np.dtype(fields)
    lists = [name for name, _, length in element.properties if length]
    if len(body) - at >= element.count * row.itemsize:
        table = np.frombuffer(body, row, element.count, at)
        if all((table[f"{name} length"] == 3).all() for name in lists):
            found = {name: table[name] for name, _, _ in element.properties}
            return found, at + element.count * row.itemsize
    if not lists:
        raise MeshError(
            f"The PLY file ends before its {element.count} rows of '{element.name}'.", _REMEDY
        )
    columns: dict[str, list[Any]] = {name: [] for name, _, _ in element.properties}
    for _ in range(element.count):
        for name, kind, length in element.properties:
            many = 1
            if length:
                many = int(np.frombuffer(body, endian + length, 1, at)[0])
                at += np.dtype(length).itemsize
            values = np.frombuffer(body, endian + kind, many, at)
            at += many * np.dtype(kind).itemsize
            columns[name].append(values if length else values[0])
    return {
        name: triangles_of_polygons(column) if name in lists else np.array(column)
        for name, column in columns.items()
    }, at


def _ascii_tables(body: bytes, elements: list[_Element]) -> dict[str, dict[str, Any]]:
    words, at = body.split(), 0
    tables: dict[str, dict[str, Any]] = {}
    for element in elements:
        if any(length for _, _, length in element.properties):
            columns: dict[str, list[Any]] = {name: [] for name, _, _ in element.properties}
            for _ in range(element.count):
                for name, _, length in element.properties:
                    many = int(words[at]) if length else 1
                    at += 1 if length else 0
                    values = np.array(words[at : at + many], dtype=np.float64)
                    if len(values) < many:
                        raise IndexError(at)
                    at += many
                    columns[name].append(values if length else values[0])
            tables[element.name] = {
                name: triangles_of_polygons(columns[name]) if length else np.array(columns[name])
                for name, _, length in element.properties
            }
        else:
            width = len(element.properties)
            block = np.array(words[at : at + width * element.count], dtype=np.float64)
            at += width * element.count
            block = block.reshape(element.count, width)
            tables[element.name] = {
                name: block[:, column] for column, (name, _, _) in enumerate(element.properties)
            }
    return tables


def triangles_of_polygons(polygons: list[Any]) -> Ints:
    """Return polygons, each a row of vertex numbers, split fanwise into (F, 3) triangles."""
    fans = [
        np.column_stack([np.full(len(ring) - 2, ring[0]), ring[1:-1], ring[2:]])
        for ring in map(np.asarray, polygons)
        if len(ring) > 2
    ]
    stacked: Ints = np.vstack([np.zeros((0, 3)), *fans]).astype(np.int64)
    return stacked
