"""The nearest point of a mesh, and where rays meet it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import igl
import numpy as np

from fitkit.errors import MeshError
from fitkit.geometry.arrays import Floats, Ints
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.mesh_scene import MeshScene, tensor
from fitkit.geometry.remembered import remembered

__all__ = ["RayHits", "SurfaceRays", "nearest_on_mesh", "rays_of"]

# Two hits of one ray closer than this are one hit on the edge between two triangles.
_SAME_HIT_MM = 1e-3


def nearest_on_mesh(mesh: TriangleMesh, points: Floats) -> tuple[Floats, Ints, Floats]:
    """Return for each point the nearest point of the surface.

    Parameters
    ----------
    points
        (N, 3) float mm.

    Returns
    -------
    points_mm
        (N, 3) float mm on the mesh.
    faces
        (N,) int.
    distance_mm
        (N,) float mm, never negative.

    Raises
    ------
    MeshError
        When the mesh has no faces.
    """
    if len(mesh.faces) == 0:
        raise MeshError("The mesh has no faces.", "Give a surface, not a point cloud.")
    wanted = np.ascontiguousarray(points, dtype=np.float64).reshape(-1, 3)
    if len(wanted) == 0:
        return np.zeros((0, 3)), np.zeros(0, dtype=np.int64), np.zeros(0)
    # The search tree is worth keeping; the library wants the arrays beside it each time.
    squared, faces, nearest = _search_tree(mesh).squared_distance(
        np.ascontiguousarray(mesh.vertices), np.ascontiguousarray(mesh.faces), wanted
    )
    return (
        np.asarray(nearest, dtype=np.float64).reshape(-1, 3),
        np.asarray(faces, dtype=np.int64).ravel(),
        np.sqrt(np.maximum(np.asarray(squared, dtype=np.float64).ravel(), 0.0)),
    )


@remembered
def _search_tree(mesh: TriangleMesh) -> Any:
    tree = igl.AABB()
    tree.init(np.ascontiguousarray(mesh.vertices), np.ascontiguousarray(mesh.faces))
    return tree


@dataclass(frozen=True, slots=True, eq=False)
class RayHits:
    """Where rays met a surface.

    Attributes
    ----------
    rays
        (K,) int: which ray, in order.
    distance_mm
        (K,) float mm from the ray's origin, in order along each ray; infinite for a miss
        where one row per ray was asked for.
    faces
        (K,) int, -1 for a miss.
    points_mm
        (K, 3) float mm, not a number for a miss.
    """

    rays: Ints
    distance_mm: Floats
    faces: Ints
    points_mm: Floats


class SurfaceRays:
    """A mesh made ready for many rays.

    The search itself is in single precision; the hit is then worked out again in double
    precision on the triangle it names.
    """

    def __init__(self, mesh: TriangleMesh) -> None:
        if len(mesh.faces) == 0:
            raise MeshError("The mesh has no faces.", "Give a surface, not a point cloud.")
        self.mesh = mesh
        ready = MeshScene(mesh)
        self._centre_mm = ready.centre_mm
        self._scene = ready.scene

    def all_hits(self, origins_mm: Floats, directions: Floats) -> RayHits:
        """Return every hit in front of each origin, in order along each ray.

        Parameters
        ----------
        origins_mm
            (N, 3) float mm.
        directions
            (N, 3) float, any length but zero.
        """
        origins = np.asarray(origins_mm, dtype=np.float64).reshape(-1, 3)
        unit = np.asarray(directions, dtype=np.float64).reshape(-1, 3)
        unit = unit / np.linalg.norm(unit, axis=1, keepdims=True)
        rays32 = np.hstack([origins - self._centre_mm, unit]).astype(np.float32)
        found = self._scene.list_intersections(tensor(rays32))
        rays = found["ray_ids"].numpy().astype(np.int64)
        faces = found["primitive_ids"].numpy().astype(np.int64)
        rough = found["t_hit"].numpy().astype(np.float64)

        points = self._on_triangles(origins[rays], unit[rays], faces, rough)
        distance = np.einsum("ki,ki->k", points - origins[rays], unit[rays])
        order = np.lexsort([faces, distance, rays])
        rays, faces, distance, points = rays[order], faces[order], distance[order], points[order]
        entering = np.einsum("ki,ki->k", self._normals(faces), unit[rays]) < 0
        # A ray through an edge meets both its triangles: keep one, unless it grazes past.
        doubled = np.zeros(len(rays), dtype=np.bool_)
        doubled[1:] = (
            (rays[1:] == rays[:-1])
            & (np.diff(distance) < _SAME_HIT_MM)
            & (entering[1:] == entering[:-1])
        )
        keep = ~doubled
        return RayHits(rays[keep], distance[keep], faces[keep], points[keep])

    def first_hit(self, origins_mm: Floats, directions: Floats) -> RayHits:
        """Return one row per ray: its nearest hit."""
        return self._one_per_ray(origins_mm, directions, last=False)

    def last_hit(self, origins_mm: Floats, directions: Floats) -> RayHits:
        """Return one row per ray: its farthest hit, where it leaves the surface for good."""
        return self._one_per_ray(origins_mm, directions, last=True)

    def _one_per_ray(self, origins_mm: Floats, directions: Floats, *, last: bool) -> RayHits:
        hits = self.all_hits(origins_mm, directions)
        count = len(np.asarray(origins_mm, dtype=np.float64).reshape(-1, 3))
        distance = np.full(count, np.inf)
        faces = np.full(count, -1, dtype=np.int64)
        points = np.full((count, 3), np.nan)
        wanted = np.flatnonzero(
            np.r_[hits.rays[1:] != hits.rays[:-1], np.ones(min(len(hits.rays), 1), dtype=bool)]
            if last
            else np.r_[np.ones(min(len(hits.rays), 1), dtype=bool), hits.rays[1:] != hits.rays[:-1]]
        )
        rays = hits.rays[wanted]
        distance[rays] = hits.distance_mm[wanted]
        faces[rays] = hits.faces[wanted]
        points[rays] = hits.points_mm[wanted]
        return RayHits(np.arange(count), distance, faces, points)

    def _normals(self, faces: Ints) -> Floats:
        a, b, c = np.moveaxis(self.mesh.vertices[self.mesh.faces[faces]], 1, 0)
        normals: Floats = np.cross(b - a, c - a)
        return normals

    def _on_triangles(self, origins: Floats, unit: Floats, faces: Ints, rough: Floats) -> Floats:
        """Intersect each ray with the plane of its triangle, kept within the triangle."""
        a, b, c = np.moveaxis(self.mesh.vertices[self.mesh.faces[faces]], 1, 0)
        normals = np.cross(b - a, c - a)
        facing = np.einsum("ki,ki->k", normals, unit)
        size = np.linalg.norm(normals, axis=1)
        usable = np.abs(facing) > 1e-9 * size
        exact = np.einsum("ki,ki->k", normals, a - origins) / np.where(usable, facing, 1.0)
        # Seen edge on, the plane says nothing: keep the rough answer there.
        distance = np.where(usable & (np.abs(exact - rough) < 0.1), exact, rough)
        points = origins + distance[:, np.newaxis] * unit
        area = np.where(size > 0, size * size, 1.0)
        weights = np.stack(
            [
                np.einsum("ki,ki->k", np.cross(c - b, points - b), normals) / area,
                np.einsum("ki,ki->k", np.cross(a - c, points - c), normals) / area,
            ],
            axis=1,
        )
        third = 1.0 - weights.sum(axis=1)
        all_weights = np.clip(np.column_stack([weights, third]), 0.0, None)
        all_weights /= all_weights.sum(axis=1, keepdims=True)
        on: Floats = np.einsum("kc,kci->ki", all_weights, np.stack([a, b, c], axis=1))
        return on


@remembered
def rays_of(mesh: TriangleMesh) -> SurfaceRays:
    """Return a mesh made ready for rays, the same one for the same mesh."""
    return SurfaceRays(mesh)
