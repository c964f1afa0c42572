"""The triangle mesh value."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitkit.geometry.arrays import Floats, Ints, frozen_floats, frozen_ints

__all__ = ["TriangleMesh"]


@dataclass(frozen=True, slots=True, eq=False, weakref_slot=True)
class TriangleMesh:
    """An immutable triangle mesh in millimetres.

    Attributes
    ----------
    vertices
        (V, 3) float mm.
    faces
        (F, 3) int, counter-clockwise seen from outside.
    """

    vertices: Floats
    faces: Ints

    def __post_init__(self) -> None:
        vertices = frozen_floats(self.vertices, (None, 3), "vertices")
        object.__setattr__(self, "vertices", vertices)
        object.__setattr__(
            self, "faces", frozen_ints(self.faces, (None, 3), "faces", below=len(vertices))
        )

    @property
    def corners(self) -> Floats:
        """(F, 3, 3) float mm: the three corner points of every face."""
        corners: Floats = self.vertices[self.faces]
        return corners

    def face_normals_scaled(self) -> Floats:
        """(F, 3) float mm2: outward normals, each as long as twice its face's area."""
        a, b, c = np.moveaxis(self.corners, 1, 0)
        normals: Floats = np.cross(b - a, c - a)
        return normals

    def face_areas_mm2(self) -> Floats:
        """(F,) float mm2."""
        areas: Floats = 0.5 * np.linalg.norm(self.face_normals_scaled(), axis=1)
        return areas

    def area_mm2(self) -> float:
        """Return the surface area."""
        return float(self.face_areas_mm2().sum())

    def volume_mm3(self) -> float:
        """Return the signed volume; meaningful for a closed mesh, positive when wound outward."""
        a, b, c = np.moveaxis(self.corners, 1, 0)
        return float(np.einsum("fi,fi->", a, np.cross(b, c)) / 6.0)

    def vertex_normals(self) -> Floats:
        """(V, 3) float, unit: area-weighted mean of the normals of the faces round each vertex."""
        scaled = self.face_normals_scaled()
        normals = np.zeros_like(self.vertices)
        for corner in range(3):
            np.add.at(normals, self.faces[:, corner], scaled)
        length = np.linalg.norm(normals, axis=1, keepdims=True)
        unit: Floats = normals / np.where(length > 0, length, 1.0)
        return unit

    def bounds_mm(self) -> Floats:
        """(2, 3) float mm: the lowest and highest corner of the enclosing box."""
        return np.stack([self.vertices.min(axis=0), self.vertices.max(axis=0)])

    def with_vertices(self, vertices: Floats) -> TriangleMesh:
        """Return the same faces over other vertices."""
        return TriangleMesh(vertices, self.faces)

    def mirrored(self) -> TriangleMesh:
        """Return the mesh as the wearer's other side would have it, left (+x) for right."""
        return TriangleMesh(self.vertices * [-1.0, 1.0, 1.0], self.faces[:, ::-1])

    def faces_only(self, keep: Ints | np.ndarray) -> tuple[TriangleMesh, Ints]:
        """Return the mesh of the chosen faces and, per new vertex, its old index.

        Parameters
        ----------
        keep
            (F,) bool or (K,) int face choice.
        """
        faces = self.faces[keep]
        used, renumbered = np.unique(faces, return_inverse=True)
        return TriangleMesh(self.vertices[used], renumbered.reshape(-1, 3)), used
