"""OFF files: vertices and polygons as plain text."""

from __future__ import annotations

import numpy as np

from fitkit.errors import MeshError, ShapeError
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.ply import triangles_of_polygons

__all__ = ["mesh_from_off", "off_bytes"]

_REMEDY = "Export it again as OFF text from the program that made it."


def off_bytes(mesh: TriangleMesh) -> bytes:
    """Return a mesh as OFF text that reads back to the last bit."""
    lines = ["OFF", f"{len(mesh.vertices)} {len(mesh.faces)} 0"]
    lines += [f"{x!r} {y!r} {z!r}" for x, y, z in mesh.vertices.tolist()]
    lines += [f"3 {a} {b} {c}" for a, b, c in mesh.faces.tolist()]
    return ("\n".join(lines) + "\n").encode("ascii")


def mesh_from_off(data: bytes) -> TriangleMesh:
    """Return the mesh of an OFF text file; polygons are split, colours and normals passed over.

    The heads ``OFF``, ``COFF``, ``NOFF`` and ``CNOFF`` are read; numbers behind a vertex's three
    or a polygon's corners are left out.

    Raises
    ------
    MeshError
        When it is another kind of OFF, ends early or a number cannot be read.

    References
    ----------
    The Geomview manual's section on the OFF file format (from memory).
    """
    text = data.decode("utf-8", errors="replace")
    lines = [line.split("#", 1)[0].split() for line in text.splitlines()]
    lines = [words for words in lines if words]
    head = lines[0][0].upper() if lines else ""
    if head not in {"OFF", "COFF", "NOFF", "CNOFF"} or "BINARY" in [w.upper() for w in lines[0]]:
        raise MeshError("The file does not begin as OFF text does.", _REMEDY)
    # The counts may stand behind the head on its own line.
    rest = [lines[0][1:], *lines[1:]] if len(lines[0]) > 1 else lines[1:]
    try:
        vertex_count, face_count = int(rest[0][0]), int(rest[0][1])
        rows = rest[1 : 1 + vertex_count + face_count]
        if min(vertex_count, face_count) < 0 or len(rows) < vertex_count + face_count:
            raise ValueError("too few lines")
        points = np.array([[float(word) for word in row[:3]] for row in rows[:vertex_count]])
        polygons = []
        for row in rows[vertex_count:]:
            ring = [int(word) for word in row[1 : 1 + int(row[0])]]
            if len(ring) != int(row[0]):
                raise ValueError("a polygon ends early")
            polygons.append(ring)
    except (ValueError, IndexError) as error:
        raise MeshError("The OFF text ends early or is damaged.", _REMEDY) from error
    try:
        return TriangleMesh(points.reshape(-1, 3), triangles_of_polygons(polygons))
    except (ShapeError, ValueError) as error:
        raise MeshError("The OFF file does not hold a mesh.", _REMEDY) from error
