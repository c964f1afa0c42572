"""What keeps the two sides of a gap apart while a surface is moved.

Between arm and trunk neither side is well seen. Moved each by itself, guided by little more than
smoothness, they meet, and the next meshing makes one piece of them for good.
"""

from __future__ import annotations

import numpy as np

from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.mesh_scene import MeshScene, tensor

__all__ = ["kept_apart"]

# What two cells of the finest mesh still resolve; looked for this far ahead of the surface.
_LEAST_GAP_MM = 8.0
_START_MM = 0.5


def kept_apart(mesh: TriangleMesh, moved: TriangleMesh, *, scale: float) -> TriangleMesh:
    """Return the moved mesh, no vertex so far outward that a gap closes.

    A vertex may go outward by half of what the gap ahead of it has beyond 8 mm: the other side
    may do the same.

    Parameters
    ----------
    mesh, moved
        Before and after the move; the same faces.
    scale
        Size of the subject's detail against that of a body.
    """
    normal = mesh.vertex_normals()
    way = moved.vertices - mesh.vertices
    outward = np.einsum("vi,vi->v", way, normal)
    asked = np.flatnonzero(outward > 0.0)
    scene = MeshScene(mesh)
    start = mesh.vertices[asked] + scale * _START_MM * normal[asked] - scene.centre_mm
    rays = np.hstack([start, normal[asked]]).astype(np.float32)
    gap_mm = scene.scene.cast_rays(tensor(rays))["t_hit"].numpy() + scale * _START_MM
    most = np.maximum(0.5 * (gap_mm - scale * _LEAST_GAP_MM), 0.0)
    excess = np.zeros(len(outward))
    excess[asked] = np.maximum(outward[asked] - most, 0.0)
    return moved.with_vertices(moved.vertices - excess[:, None] * normal)
