"""Mesh files: PLY, OBJ, STL, OFF and glTF, told apart by the end of the file's name.

Only glTF says its unit and its way up; it is turned into millimetres, z up. Of the others
fitkit writes millimetres and gives the numbers that it reads as they stand.
"""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np

from fitkit.errors import FileError, MeshError, ShapeError
from fitkit.geometry.arrays import Floats, Ints
from fitkit.geometry.gltf import glb_bytes, mesh_from_gltf, self_contained_gltf
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.off import mesh_from_off, off_bytes
from fitkit.geometry.ply import (
    PlyContents,
    mesh_from_ply,
    ply_bytes,
    ply_contents,
    triangles_of_polygons,
)

__all__ = [
    "MESH_SUFFIXES",
    "METRIC_SUFFIXES",
    "PlyContents",
    "glb_bytes",
    "mesh_file_bytes",
    "mesh_from_gltf",
    "mesh_from_obj",
    "mesh_from_off",
    "mesh_from_ply",
    "mesh_from_stl",
    "obj_bytes",
    "off_bytes",
    "ply_bytes",
    "ply_contents",
    "read_mesh",
    "stl_bytes",
    "welded",
    "write_mesh",
]

MESH_SUFFIXES = (".ply", ".obj", ".stl", ".off", ".glb", ".gltf")
"""The kinds of mesh file that can be read; all but ``.gltf`` can be written."""

METRIC_SUFFIXES = (".glb", ".gltf")
"""The kinds that fix their unit and their way up: read in millimetres, z up."""

_STL_ROW = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("spare", "<u2")])


def read_mesh(path: Path | str) -> TriangleMesh:
    """Return the mesh in a file: of glTF in millimetres and z up, else in the file's numbers.

    Raises
    ------
    FileError
        When the file cannot be read or its name ends otherwise.
    MeshError
        When it does not hold a mesh.
    """
    path = Path(path)
    suffix = _suffix(path)
    data = _read(path)
    try:
        if suffix in METRIC_SUFFIXES:
            mesh = mesh_from_gltf(data, lambda name: _read(path.parent / name))
        else:
            parse = {
                ".ply": mesh_from_ply,
                ".obj": mesh_from_obj,
                ".stl": mesh_from_stl,
                ".off": mesh_from_off,
            }[suffix]
            mesh = parse(data)
    except MeshError as error:
        raise MeshError(f"{path.name}: {error.cause}", error.remedy) from error
    if len(mesh.faces) == 0:
        raise MeshError(f"{path.name}: There are no faces in it.", "Give a surface mesh.")
    return mesh


def mesh_file_bytes(path: Path | str) -> bytes:
    """Return the content of a mesh file such that it can be kept alone.

    What a ``.gltf`` names beside itself is put into it.

    Raises
    ------
    FileError
        When the file, or one that it names, cannot be read.
    """
    path = Path(path)
    data = _read(path)
    if _suffix(path) == ".gltf":
        return self_contained_gltf(data, lambda name: _read(path.parent / name))
    return data


def _read(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        raise FileError(
            f"The mesh file {path.name} cannot be read: {error.strerror or error}.",
            "Check the path and whether the file may be read.",
        ) from error


def write_mesh(path: Path | str, mesh: TriangleMesh) -> None:
    """Write a mesh as PLY, OBJ, STL, OFF or binary glTF, whole or not at all.

    Raises
    ------
    FileError
        When the file cannot be written or its name ends otherwise.
    """
    path = Path(path)
    writers = {
        ".ply": ply_bytes,
        ".obj": obj_bytes,
        ".stl": stl_bytes,
        ".off": off_bytes,
        ".glb": glb_bytes,
    }
    suffix = _suffix(path)
    if suffix not in writers:
        raise FileError(
            f"{path.name} cannot be written: fitkit only reads {suffix} files.",
            f"Use a name ending in {', '.join(writers)}.",
        )
    data = writers[suffix](mesh)
    unfinished = path.with_name(path.name + ".part")
    try:
        with unfinished.open("wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        unfinished.replace(path)
    except OSError as error:
        unfinished.unlink(missing_ok=True)
        raise FileError(
            f"The mesh file {path.name} cannot be written: {error.strerror or error}.",
            "Check that the folder exists, may be written to and has room.",
        ) from error


def _suffix(path: Path) -> str:
    suffix = path.suffix.lower()
    if suffix not in MESH_SUFFIXES:
        raise FileError(
            f"{path.name} is not a kind of mesh file that fitkit knows.",
            f"Use a name ending in {', '.join(MESH_SUFFIXES)}.",
        )
    return suffix


def obj_bytes(mesh: TriangleMesh) -> bytes:
    """Return a mesh as OBJ text that reads back to the last bit."""
    lines = ["# millimetres"]
    lines += [f"v {x!r} {y!r} {z!r}" for x, y, z in mesh.vertices.tolist()]
    lines += [f"f {a} {b} {c}" for a, b, c in (mesh.faces + 1).tolist()]
    return ("\n".join(lines) + "\n").encode("ascii")


def mesh_from_obj(data: bytes) -> TriangleMesh:
    """Return the mesh of an OBJ file; polygons are split, textures and normals passed over.

    Raises
    ------
    MeshError
        When a vertex or face cannot be understood.
    """
    points: list[list[float]] = []
    polygons: list[list[int]] = []
    text = data.decode("utf-8", errors="replace").replace("\\\r\n", " ").replace("\\\n", " ")
    for number, line in enumerate(text.splitlines(), start=1):
        words = line.split()
        try:
            if words[:1] == ["v"]:
                x, y, z, *_ = map(float, words[1:])
                points.append([x, y, z])
            elif words[:1] == ["f"]:
                ring = [int(word.split("/")[0]) for word in words[1:]]
                # Vertices count from 1, or backwards from the latest one when negative.
                ring = [k - 1 if k > 0 else len(points) + k for k in ring]
                if min(ring) < 0:
                    raise ValueError(line)
                polygons.append(ring)
        except ValueError as error:
            raise MeshError(
                f"Line {number} of the OBJ file cannot be understood.",
                "Export it again as OBJ from the program that made it.",
            ) from error
    return _mesh(np.array(points).reshape(-1, 3), triangles_of_polygons(polygons), "OBJ")


def stl_bytes(mesh: TriangleMesh) -> bytes:
    """Return a mesh as binary STL, in single precision as that format has it."""
    rows = np.zeros(len(mesh.faces), dtype=_STL_ROW)
    scaled = mesh.face_normals_scaled()
    length = np.linalg.norm(scaled, axis=1, keepdims=True)
    rows["normal"] = scaled / np.where(length > 0, length, 1.0)
    rows["corners"] = mesh.corners
    head = b"binary STL, millimetres".ljust(80)
    return head + len(rows).to_bytes(4, "little") + rows.tobytes()


def mesh_from_stl(data: bytes) -> TriangleMesh:
    """Return the mesh of a binary or text STL file, equal corners welded into one vertex.

    Raises
    ------
    MeshError
        When it is neither, or ends early.
    """
    remedy = "Export it again as binary STL from the program that made it."
    count = int.from_bytes(data[80:84], "little") if len(data) >= 84 else -1
    if len(data) == 84 + count * _STL_ROW.itemsize:
        corners = np.frombuffer(data, _STL_ROW, count, 84)["corners"].astype(np.float64)
    elif data.lstrip()[:5].lower() == b"solid":
        words = data.lower().split()
        places = np.array([k for k, word in enumerate(words) if word == b"vertex"], dtype=np.int64)
        try:
            numbers = [[float(word) for word in words[k + 1 : k + 4]] for k in places.tolist()]
            corners = np.array(numbers, dtype=np.float64).reshape(-1, 3, 3)
        except ValueError as error:
            raise MeshError("The STL text ends early or is damaged.", remedy) from error
    else:
        raise MeshError("The file is neither binary nor text STL, or ends early.", remedy)
    points = corners.reshape(-1, 3)
    return welded(_mesh(points, np.arange(len(points)).reshape(-1, 3), "STL"))


def _mesh(points: Floats, faces: Ints, kind: str) -> TriangleMesh:
    try:
        return TriangleMesh(points, faces)
    except ShapeError as error:
        raise MeshError(
            f"The {kind} file does not hold a mesh: {error.cause}",
            f"Export it again as {kind} from the program that made it.",
        ) from error


def welded(mesh: TriangleMesh) -> TriangleMesh:
    """Return the mesh with vertices at exactly the same place made one.

    Faces that thereby lose a corner, and vertices without a face, are dropped.
    """
    points, number = np.unique(mesh.vertices + 0.0, axis=0, return_inverse=True)
    faces = number.reshape(-1)[mesh.faces]
    whole = (faces != np.roll(faces, 1, axis=1)).all(axis=1)
    return TriangleMesh(points, faces).faces_only(whole)[0]
