"""Closed meshes as solids: united, cut by a plane, one taken from another."""

from __future__ import annotations

from collections.abc import Sequence

import manifold3d
import numpy as np

from fitkit.errors import MeshError
from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.nearest import nearest_on_mesh

__all__ = ["boxed", "piece_at", "side_of_plane", "united", "without_box", "without_cylinder"]

_SLIVER_MM = 2e-3


def united(meshes: Sequence[TriangleMesh]) -> TriangleMesh:
    """Return the surface of what lies in any of several solids.

    Parameters
    ----------
    meshes
        Each closed and wound outward, at most two faces along an edge.

    Raises
    ------
    MeshError
        When one of them bounds no volume.
    """
    solids = [_solid(mesh) for mesh in meshes]
    return _mesh(manifold3d.Manifold.batch_boolean(solids, manifold3d.OpType.Add))


def side_of_plane(mesh: TriangleMesh, point_mm: Floats, normal: Floats) -> TriangleMesh:
    """Return what of a solid lies on the normal's side of a plane, closed flat along the cut.

    Raises
    ------
    MeshError
        When nothing does, or the mesh bounds no volume.
    """
    unit = np.asarray(normal, dtype=np.float64)
    unit = unit / np.linalg.norm(unit)
    solid = _solid(mesh).trim_by_plane(tuple(unit.tolist()), float(np.asarray(point_mm) @ unit))
    return _mesh(solid)


def without_cylinder(
    mesh: TriangleMesh, start_mm: Floats, direction: Floats, radius_mm: float, length_mm: float
) -> TriangleMesh:
    """Return a solid less a round bar that begins flat at a point and runs in a direction.

    Raises
    ------
    MeshError
        When nothing is left, or the mesh bounds no volume.
    """
    ahead = np.asarray(direction, dtype=np.float64)
    ahead = ahead / np.linalg.norm(ahead)
    across = np.cross(ahead, np.eye(3)[int(np.argmin(np.abs(ahead)))])
    across /= np.linalg.norm(across)
    frame = np.column_stack([across, np.cross(ahead, across), ahead, start_mm])
    bar = manifold3d.Manifold.cylinder(length_mm, radius_mm, radius_mm, 64).transform(frame)
    return _mesh(_solid(mesh) - bar)


def boxed(mesh: TriangleMesh, low_mm: Floats, high_mm: Floats) -> TriangleMesh:
    """Return what of a solid lies in an upright box between two corners (3,); errors as above."""
    return _mesh(_solid(mesh) ^ _box(low_mm, high_mm))


def without_box(mesh: TriangleMesh, low_mm: Floats, high_mm: Floats) -> TriangleMesh:
    """Return what of a solid lies outside such a box."""
    return _mesh(_solid(mesh) - _box(low_mm, high_mm))


def piece_at(mesh: TriangleMesh, point_mm: Floats) -> TriangleMesh:
    """Return the piece of a solid whose surface comes nearest to a point."""
    pieces = [_mesh(piece) for piece in _solid(mesh).decompose()]
    point = np.asarray(point_mm, dtype=np.float64)[np.newaxis]
    return min(pieces, key=lambda piece: float(nearest_on_mesh(piece, point)[2][0]))


def _box(low_mm: Floats, high_mm: Floats) -> manifold3d.Manifold:
    size = np.asarray(high_mm, dtype=np.float64) - low_mm
    return manifold3d.Manifold.cube(tuple(size.tolist())).translate(
        tuple(np.asarray(low_mm, dtype=np.float64).tolist())
    )


def _solid(mesh: TriangleMesh) -> manifold3d.Manifold:
    solid = manifold3d.Manifold(
        manifold3d.Mesh64(
            np.array(mesh.vertices, order="C"), np.array(mesh.faces, dtype=np.uint64, order="C")
        )
    )
    if solid.is_empty():
        raise MeshError(
            "The surface bounds no volume.",
            "Give a closed surface on which at most two faces meet along an edge.",
        )
    return solid


def _mesh(solid: manifold3d.Manifold) -> TriangleMesh:
    if solid.is_empty():
        raise MeshError("Nothing is left of the body.", "Cut it where it has something to keep.")
    # Cuts leave edges of next to no length, on which no way over the surface can be followed. Only
    # a solid that does not know what it was cut from lets go of all of them.
    return _as_mesh(_solid(_as_mesh(solid)).simplify(_SLIVER_MM))


def _as_mesh(solid: manifold3d.Manifold) -> TriangleMesh:
    made = solid.to_mesh64()
    return TriangleMesh(
        np.asarray(made.vert_properties, dtype=np.float64)[:, :3],
        np.asarray(made.tri_verts, dtype=np.int64),
    )
