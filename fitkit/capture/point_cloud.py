"""One thinned, oriented point cloud from all depth maps."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import open3d as o3d
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from fitkit.capture.depth_map import DepthMap
from fitkit.geometry.arrays import Bools, Floats, Ints
from fitkit.geometry.mesh import TriangleMesh

__all__ = ["PointCloud", "cloud_of_maps", "cloud_only", "largest_clusters", "to_like_points_mm"]

_NEAREST_N, _LEAST_FACING = 24, 0.8


@dataclass(frozen=True, slots=True, eq=False)
class PointCloud:
    """Points on a surface with their outward normals.

    Attributes
    ----------
    points_mm
        (P, 3) float mm, world.
    normals
        (P, 3) float, unit, out of the surface.
    """

    points_mm: Floats
    normals: Floats


def cloud_of_maps(
    maps: Sequence[DepthMap], keep: Sequence[Bools], *, spacing_mm: float
) -> PointCloud:
    """Return one point per occupied cell of a grid, with its normal.

    Parameters
    ----------
    maps
        Depth maps.
    keep
        For each map, (N,) bool: which of its known pixels, row by row, to take.
    spacing_mm
        Side of the grid's cells. Normals are fitted to the neighbours within three cells.
    """
    points, towards = [], []
    for one, chosen in zip(maps, keep, strict=True):
        own = one.points_mm()[chosen]
        back = one.centre_mm() - own
        points.append(own)
        towards.append(back / np.linalg.norm(back, axis=1, keepdims=True))
    place, view, count = _thinned(np.vstack(points), np.vstack(towards), spacing_mm)
    # A cell with a single point from all maps is more often noise than surface.
    several = count > 1 if (count > 1).sum() > 100 else count > 0
    place, view = place[several], view[several]
    if len(place) < 4:
        return PointCloud(np.zeros((0, 3)), np.zeros((0, 3)))
    cloud = o3d.geometry.PointCloud(o3d.utility.Vector3dVector(place))
    cloud.estimate_normals(o3d.geometry.KDTreeSearchParamHybrid(3.0 * spacing_mm, 40))
    normals = np.asarray(cloud.normals).copy()
    normals[np.einsum("pi,pi->p", normals, view) < 0] *= -1.0
    return PointCloud(place, normals)


def cloud_only(cloud: PointCloud, keep: Bools | Ints) -> PointCloud:
    """Return the chosen points of a cloud."""
    return PointCloud(cloud.points_mm[keep], cloud.normals[keep])


def largest_clusters(cloud: PointCloud, *, gap_mm: float, least_share: float = 0.02) -> PointCloud:
    """Drop clusters much smaller than the largest one, and points with few neighbours.

    Parameters
    ----------
    cloud
        The cloud.
    gap_mm
        Points nearer than this belong together.
    least_share
        Clusters with a smaller share of the largest cluster's points are dropped.
    """
    if len(cloud.points_mm) < 10:
        return cloud
    tree = cKDTree(cloud.points_mm)
    neighbours = tree.query_ball_point(cloud.points_mm, gap_mm, workers=-1, return_length=True)
    cloud = cloud_only(cloud, neighbours >= 0.25 * np.median(neighbours))
    cells = np.floor(cloud.points_mm / gap_mm).astype(np.int64)
    used, of_point = np.unique(cells, axis=0, return_inverse=True)
    pairs = cKDTree(used).query_pairs(1.8, output_type="ndarray")
    count = len(used)
    graph = coo_matrix((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(count, count))
    _, label = connected_components(graph, directed=False)
    of_point = label[of_point.ravel()]
    size = np.bincount(of_point)
    return cloud_only(cloud, size[of_point] >= least_share * size.max())


def _thinned(points: Floats, towards: Floats, spacing_mm: float) -> tuple[Floats, Floats, Ints]:
    """Return per occupied cell the mean point, the mean direction to the cameras, the count."""
    if len(points) == 0:
        return np.zeros((0, 3)), np.zeros((0, 3)), np.zeros(0, dtype=np.int64)
    cells = np.floor(points / spacing_mm).astype(np.int64)
    cells -= cells.min(axis=0)
    size = cells.max(axis=0) + 1
    key = (cells[:, 0] * size[1] + cells[:, 1]) * size[2] + cells[:, 2]
    _, of_point, count = np.unique(key, return_inverse=True, return_counts=True)

    def mean(values: Floats) -> Floats:
        sums = [np.bincount(of_point, values[:, axis]) for axis in range(3)]
        means: Floats = np.stack(sums, axis=1) / count[:, None]
        return means

    return mean(points), mean(towards), count.astype(np.int64)


def to_like_points_mm(surface: TriangleMesh, cloud: PointCloud, near: cKDTree) -> Floats:
    """(V,) float mm: from each vertex to the nearest point that faces as the surface does there.

    Across a narrow gap the points of its sides are near, but face each other. Infinite where none
    of the nearest 24 faces within 37 degrees of the surface.

    Parameters
    ----------
    surface
        Wound outward.
    cloud, near
        Points with their normals, and the tree of the points.
    """
    distance, index = near.query(surface.vertices, k=_NEAREST_N, workers=-1)
    facing = np.einsum("vki,vi->vk", cloud.normals[index], surface.vertex_normals())
    return np.asarray(np.where(facing > _LEAST_FACING, distance, np.inf).min(axis=1))
