"""A mesh made ready for many distance and ray look-ups, in single precision."""

from __future__ import annotations

from typing import Any

import numpy as np
import open3d as o3d
from numpy.typing import NDArray

from fitkit.geometry.arrays import Bools, Floats, Ints
from fitkit.geometry.mesh import TriangleMesh

__all__ = ["MeshScene", "tensor"]


def tensor(array: NDArray[Any]) -> Any:
    """Return an array as the library wants it."""
    core: Any = o3d.core  # its stubs want more arguments than the library does
    return core.Tensor(np.ascontiguousarray(array))


class MeshScene:
    """A mesh or a soup of triangles, about its own middle.

    Small coordinates keep single precision fine: 1e-4 mm over a metre.
    """

    def __init__(self, mesh: TriangleMesh) -> None:
        self.centre_mm = mesh.bounds_mm().mean(axis=0)
        self.scene = o3d.t.geometry.RaycastingScene()
        self.scene.add_triangles(self.centred(mesh.vertices), tensor(mesh.faces.astype(np.uint32)))

    def centred(self, points_mm: Floats) -> Any:
        """Return points as the scene wants them."""
        return tensor((points_mm - self.centre_mm).astype(np.float32))

    def signed_distance_mm(self, points_mm: Floats) -> Floats:
        """(N,) float32 mm: positive outside; the mesh is closed."""
        found: Floats = self.scene.compute_signed_distance(self.centred(points_mm)).numpy()
        return found

    def nearest_mm(self, points_mm: Floats) -> Floats:
        """(N, 3) float mm: the nearest point of the surface to each point."""
        found = self.scene.compute_closest_points(self.centred(points_mm))
        nearest: Floats = found["points"].numpy().astype(np.float64) + self.centre_mm
        return nearest

    def beside_nearest_mm(self, points_mm: Floats) -> tuple[Floats, Ints]:
        """(N,) float mm: distance to the surface, below zero behind the face that is nearest.

        Also (N,) int, that face. Of a skin that folds into itself this tells inside from outside
        where counting crossings does not.
        """
        found = self.scene.compute_closest_points(self.centred(points_mm))
        away = points_mm - self.centre_mm - found["points"].numpy().astype(np.float64)
        facing = np.einsum("ni,ni->n", away, found["primitive_normals"].numpy())
        beside: Floats = np.where(facing < 0, -1.0, 1.0) * np.linalg.norm(away, axis=1)
        return beside, found["primitive_ids"].numpy().astype(np.int64)

    def stopped(self, starts_mm: Floats, ways: Floats) -> Bools:
        """(N,) bool: whether the endless ray from each start along its way meets the surface."""
        rays = np.hstack([starts_mm - self.centre_mm, ways]).astype(np.float32)
        met: Bools = self.scene.test_occlusions(tensor(rays)).numpy()
        return met

    def met_mm(self, starts_mm: Floats, ways: Floats) -> Floats:
        """(N,) float mm: how far the ray from each start along its way goes; inf if past all."""
        met: Floats = self._met(starts_mm, ways) * np.linalg.norm(ways, axis=1)
        return met

    def crossed(self, starts_mm: Floats, ends_mm: Floats) -> Bools:
        """(N,) bool: whether the straight way from each start to its end meets the surface."""
        met: Bools = self._met(starts_mm, ends_mm - starts_mm) <= 1.0
        return met

    def _met(self, starts_mm: Floats, ways: Floats) -> Floats:
        """(N,) float32: after how many of its ways each ray meets the surface."""
        rays = np.hstack([starts_mm - self.centre_mm, ways]).astype(np.float32)
        met: Floats = self.scene.cast_rays(tensor(rays))["t_hit"].numpy()
        return met
