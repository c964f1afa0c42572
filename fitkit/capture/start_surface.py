"""The surface that refinement starts from: through the cloud, open where photos look through.

Lengths suit a body photographed whole; all shrink by one factor for a small subject.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from scipy.spatial import cKDTree

from fitkit.capture.camera import Camera
from fitkit.capture.capture_volume import inside_volume
from fitkit.capture.closed_surface import (
    carving_field,
    cut_to_volume,
    mesh_of_grid,
    poisson_surface,
)
from fitkit.capture.crease_gaps import open_creases
from fitkit.capture.depth_map import DepthMap
from fitkit.capture.free_space import seen_through
from fitkit.capture.point_cloud import (
    PointCloud,
    cloud_of_maps,
    cloud_only,
    largest_clusters,
    to_like_points_mm,
)
from fitkit.capture.scan import CaptureVolume
from fitkit.capture.seen_gaps import held_amid_held, open_gaps, spanned_areas
from fitkit.capture.signed_grid import SignedGrid, signed_grid
from fitkit.geometry.arrays import Bytes, Floats
from fitkit.geometry.mesh import TriangleMesh

__all__ = [
    "BELOW_MM",
    "HELD_MM",
    "MOST_SPANNED",
    "START_CELL_MM",
    "cloud_in_volume",
    "spanned_share",
    "start_surface",
]

BELOW_MM = 40.0
"""How far the surface goes on below the volume's bottom before it is cut."""

HELD_MM = 8.0
"""A surface farther than this from the cloud only spans a hole of it."""

START_CELL_MM = 7.0
"""Cell of the start surface."""

MOST_SPANNED = 0.1
"""Where stereo leaves a larger share of the surface open, outlines tell better how it goes on than
Poisson does, whatever the pattern: on weak prints that goes astray by centimetres."""

_SURELY_HELD_MM = 2.0
_POISSON_CELL_MM = 4.0
_FLOOR_MM = 30.0
_FREE_VOTES, _FREE_MARGIN_MM = 3, 25.0
_CARVE_STEP = 2


def cloud_in_volume(
    maps: Sequence[DepthMap],
    wide: Sequence[DepthMap],
    volume: CaptureVolume,
    *,
    spacing_mm: float,
    scale: float,
) -> PointCloud:
    """Return the cloud of what stands in the volume, continued a little below its bottom.

    Parameters
    ----------
    maps
        Depths that several pairs agree on.
    wide
        Such depths of the whole room, which tell the space that is free.
    volume
        The column.
    spacing_mm
        Between points.
    scale
        Size of the subject's detail against that of a body.
    """
    keep = []
    floor_mm = scale * _FLOOR_MM
    for one in maps:
        points = one.points_mm()
        inside = inside_volume(volume, points, margin_mm=scale * BELOW_MM)
        inside &= points[:, 2] > min(volume.bottom_mm, floor_mm)
        radial = np.hypot(points[:, 0] - volume.centre_x_mm, points[:, 1] - volume.centre_y_mm)
        inside &= (radial <= volume.radius_mm) & (points[:, 2] <= volume.top_mm)
        keep.append(inside)
    cloud = cloud_of_maps(maps, keep, spacing_mm=spacing_mm)
    if len(cloud.points_mm) == 0:
        return cloud
    floor = (cloud.points_mm[:, 2] < floor_mm) & (cloud.normals[:, 2] > 0.8)
    margin_mm = scale * _FREE_MARGIN_MM
    free = seen_through(wide, cloud.points_mm, margin_mm=margin_mm) >= _FREE_VOTES
    return largest_clusters(cloud_only(cloud, ~floor & ~free), gap_mm=4.0 * spacing_mm)


def start_surface(
    cloud: PointCloud,
    near: cKDTree,
    wide: Sequence[DepthMap],
    pictures: Sequence[Bytes],
    cameras: Sequence[Camera],
    lower: CaptureVolume,
    *,
    scale: float,
    say: Callable[[float], None],
) -> TriangleMesh:
    """Return the closed surface through a cloud, freed of what the photos look through.

    Where the cloud leaves more than ``MOST_SPANNED`` open its gaps are not looked through.

    Parameters
    ----------
    cloud, near
        Of :func:`cloud_in_volume`, and the tree of its points.
    wide
        Depths of the whole room that several pairs agree on.
    pictures, cameras
        (h, w, 3) or (h, w) uint8, in the same order.
    lower
        The column, its bottom lowered by ``BELOW_MM``.
    scale
        Size of the subject's detail against that of a body.
    say
        Told the fraction done of looking through gaps.
    """
    closed = poisson_surface(cloud, cell_mm=scale * _POISSON_CELL_MM)
    grid = _carved(closed, lower, wide, scale)
    surface = mesh_of_grid(grid)
    bottom_mm = lower.bottom_mm + scale * BELOW_MM
    distance = to_like_points_mm(surface, cloud, near)
    if spanned_share(surface, distance, bottom_mm=bottom_mm, scale=scale) > MOST_SPANNED:
        return surface
    areas = spanned_areas(
        surface, distance, bottom_mm=bottom_mm, scale=scale, far_mm=scale * HELD_MM
    )
    if areas:
        held = held_amid_held(surface, distance < scale * _SURELY_HELD_MM)
        grid = open_gaps(grid, surface, areas, held, pictures, cameras, say=say)
    return open_creases(grid, cloud, pictures, cameras, bottom_mm=bottom_mm, scale=scale)


def spanned_share(
    surface: TriangleMesh, distance_mm: Floats, *, bottom_mm: float, scale: float
) -> float:
    """Return the share of the surface above the bottom, by area, that only spans holes.

    Parameters
    ----------
    surface
        Through the cloud.
    distance_mm
        (V,) float mm: of :func:`fitkit.capture.point_cloud.to_like_points_mm`.
    bottom_mm
        Height below which the surface is cut off later.
    scale
        Size of the subject's detail against that of a body.
    """
    area = surface.face_areas_mm2()
    area[(surface.corners[:, :, 2] < bottom_mm).any(axis=1)] = 0.0
    bare = distance_mm > scale * HELD_MM
    return float(area[bare[surface.faces].all(axis=1)].sum()) / max(float(area.sum()), 1.0)


def _carved(
    surface: TriangleMesh, volume: CaptureVolume, wide: Sequence[DepthMap], scale: float
) -> SignedGrid:
    """Return the grid of the surface within the volume, freed of what depths look through."""
    cell_mm = scale * START_CELL_MM
    grid = signed_grid(surface, cell_mm=cell_mm, margin_mm=4 * cell_mm)
    axes = [grid.nodes_mm(axis)[::_CARVE_STEP] for axis in range(3)]
    nodes = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1)
    filled = grid.values_mm[::_CARVE_STEP, ::_CARVE_STEP, ::_CARVE_STEP] > -_CARVE_STEP * cell_mm
    free = np.zeros(filled.shape, dtype=np.bool_)
    margin_mm = scale * _FREE_MARGIN_MM
    free[filled] = seen_through(wide, nodes[filled], margin_mm=margin_mm) >= _FREE_VOTES
    carved = carving_field(free, step=_CARVE_STEP, cell_mm=cell_mm) if free.any() else None
    return cut_to_volume(grid, volume, carved=carved)
