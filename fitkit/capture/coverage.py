"""How many photos see each place on the surface, and how squarely."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from fitkit.capture.camera import Camera
from fitkit.capture.capture_volume import seen_by
from fitkit.capture.scan import CaptureVolume
from fitkit.geometry.arrays import Bools, Floats, Ints, frozen_floats, frozen_ints
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.mesh_scene import MeshScene

__all__ = ["LEAST_VIEWS", "Coverage", "cover_surface", "free_ways"]

LEAST_VIEWS = 3
"""Photos that have to see a place before it counts as measured."""

# A photo that looks more slantingly than this says little about a place.
_STEEPEST_RAD = np.deg2rad(70.0)
# Rays start this part of the body's size above the surface, clear of its own triangles.
_CLEAR = 0.004


@dataclass(frozen=True, slots=True, eq=False)
class Coverage:
    """Sample places on the surface and the photos that see them.

    Attributes
    ----------
    points_mm, normals
        (N, 3) float: the places, without the flat cut at the bottom, and their outward normals.
    area_mm2
        (N,) float: the surface each place stands for.
    views_n
        (N,) int: photos that see the place within 70 degrees of its normal.
    angle_rad
        (N,) float: between the normal and the squarest such view; pi/2 where there is none.
    """

    points_mm: Floats
    normals: Floats
    area_mm2: Floats
    views_n: Ints
    angle_rad: Floats

    def __post_init__(self) -> None:
        count = len(self.points_mm)
        for name in ("points_mm", "normals"):
            object.__setattr__(self, name, frozen_floats(getattr(self, name), (count, 3), name))
        for name in ("area_mm2", "angle_rad"):
            object.__setattr__(self, name, frozen_floats(getattr(self, name), (count,), name))
        object.__setattr__(self, "views_n", frozen_ints(self.views_n, (count,), "views_n"))

    def share(self, which: Bools) -> float:
        """Return the share of the area that some of the places, (N,) bool, stand for."""
        return float(self.area_mm2[which].sum() / max(float(self.area_mm2.sum()), 1e-9))

    def views_of_faces(self, mesh: TriangleMesh, volume: CaptureVolume) -> Ints:
        """(F,) int: photos that see each face, from the nearest place; -1 on the bottom cut."""
        views = self.views_n[self._nearest(mesh)] if len(self.points_mm) else np.zeros(0, int)
        if len(views) == 0:
            return np.full(len(mesh.faces), -1)
        return np.where(_cut_faces(mesh, volume), -1, views)

    def _nearest(self, mesh: TriangleMesh) -> Ints:
        # Front and back of a thin piece lie close together: the normals tell them apart.
        size = 0.03 * float(np.ptp(mesh.vertices, axis=0).max())
        scaled = mesh.face_normals_scaled()
        length = np.linalg.norm(scaled, axis=1, keepdims=True)
        normals = scaled / np.where(length > 0, length, 1.0)
        tree = cKDTree(np.hstack([self.points_mm, size * self.normals]))
        _, nearest = tree.query(np.hstack([mesh.corners.mean(axis=1), size * normals]), workers=-1)
        return np.asarray(nearest, dtype=np.int64)


def cover_surface(
    mesh: TriangleMesh,
    cameras: Sequence[Camera],
    volume: CaptureVolume,
    *,
    most_places: int = 6000,
) -> Coverage:
    """Count for places spread over a surface how many photos see them.

    A photo sees a place when it lies inside the photo, nothing of the surface is in between
    and it is looked at within 70 degrees of its normal.

    Parameters
    ----------
    mesh
        The closed surface; it hides parts of itself.
    cameras
        Of the photos used.
    volume
        The column that was searched; the flat cut at its bottom does not count.
    most_places
        How many faces are looked at, at most; each stands for its share of the area.
    """
    shown = np.flatnonzero(~_cut_faces(mesh, volume))
    area = mesh.face_areas_mm2()[shown]
    if len(shown) > most_places:
        # One place in each equal part of the running area: even, and the same every time.
        running = np.cumsum(area)
        wanted = (np.arange(most_places) + 0.5) / most_places * running[-1]
        chosen = np.minimum(np.searchsorted(running, wanted), len(shown) - 1)
        chosen, times = np.unique(chosen, return_counts=True)
        shown, area = shown[chosen], times * (running[-1] / most_places)
    scaled = mesh.face_normals_scaled()[shown]
    length = np.linalg.norm(scaled, axis=1, keepdims=True)
    normals = scaled / np.where(length > 0, length, 1.0)
    points = mesh.corners[shown].mean(axis=1)
    scene, clear_mm = MeshScene(mesh), _clear_mm(mesh)
    views = np.zeros(len(points), dtype=np.int64)
    squarest = np.zeros(len(points))
    for camera in cameras:
        towards = camera.centre_mm() - points
        reach = np.linalg.norm(towards, axis=1)
        cosine = np.einsum("ni,ni->n", towards, normals) / np.maximum(reach, 1e-9)
        facing = np.flatnonzero((cosine > np.cos(_STEEPEST_RAD)) & seen_by(camera, points))
        start = points[facing] + clear_mm * normals[facing]
        free = facing[~scene.crossed(start, np.broadcast_to(camera.centre_mm(), start.shape))]
        views[free] += 1
        squarest[free] = np.maximum(squarest[free], cosine[free])
    angle = np.where(views > 0, np.arccos(np.clip(squarest, 0.0, 1.0)), 0.5 * np.pi)
    return Coverage(points, normals, area, views, angle)


def free_ways(mesh: TriangleMesh, points_mm: Floats, normals: Floats, ways: Floats) -> Bools:
    """(N, W) bool: from which of (W, 3) unit directions each place could be photographed.

    A direction serves when it lies within 60 degrees of the normal and the surface itself
    does not stand in the way.
    """
    scene, clear_mm = MeshScene(mesh), _clear_mm(mesh)
    serves = normals @ ways.T > np.cos(np.deg2rad(60.0))
    place, way = np.nonzero(serves)
    start = points_mm[place] + clear_mm * normals[place]
    far = 10.0 * float(np.ptp(mesh.vertices, axis=0).max())
    serves[place, way] = ~scene.crossed(start, start + far * ways[way])
    return np.asarray(serves, dtype=np.bool_)


def _cut_faces(mesh: TriangleMesh, volume: CaptureVolume) -> Bools:
    """(F,) bool: faces of the flat cut at the bottom of the volume."""
    low = (mesh.corners[:, :, 2] < volume.bottom_mm + 0.1).all(axis=1)
    return np.asarray(low, dtype=np.bool_)


def _clear_mm(mesh: TriangleMesh) -> float:
    return _CLEAR * float(np.ptp(mesh.vertices, axis=0).max())
