"""Making points on a mesh into vertices of it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from fitkit.errors import MeshError
from fitkit.geometry.arrays import Ints
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.surface_arrangement import SurfaceArrangement
from fitkit.geometry.surface_point import SurfacePoint

__all__ = ["insert_points"]

# Close enough to count as exact, far enough from rounding to keep triangles valid.
_EXACT_MM = 1e-5


def insert_points(
    mesh: TriangleMesh, points: Sequence[SurfacePoint]
) -> tuple[TriangleMesh, Ints, Ints]:
    """Make surface points into vertices, leaving the surface as it is.

    A face is split in three round a point inside it, the two faces at an edge in two each; a
    point within 0.00001 mm of a vertex or another point uses that one.

    Returns
    -------
    mesh
        The old vertices keep their numbers.
    vertices
        (P,) int: the vertex of each point.
    source_face
        (F,) int: the face of the given mesh in which each new face lies.

    Raises
    ------
    MeshError
        When a point is not in the face it names.
    """
    drawing = SurfaceArrangement(mesh, snap_mm=_EXACT_MM)
    vertices = []
    for point in points:
        if not 0 <= point.face < len(mesh.faces):
            raise MeshError(
                f"A point names triangle {point.face}, the mesh has {len(mesh.faces)}.",
                "Place the point again on this very mesh.",
            )
        vertices.append(drawing.put_in_face(point.face, point.point_mm.tolist()))
    new_mesh, source_face = drawing.build()
    return new_mesh, np.array(vertices, dtype=np.int64), source_face
