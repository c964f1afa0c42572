"""A surface for bodies whose photos carry too little pattern: outlines, smoothness, some stereo."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.ndimage import gaussian_filter
from scipy.spatial import cKDTree

from fitkit.capture.camera import Camera
from fitkit.capture.closed_surface import mesh_of_grid
from fitkit.capture.depth_map import DepthMap
from fitkit.capture.free_space import seen_through
from fitkit.capture.point_cloud import PointCloud
from fitkit.capture.scan import CaptureVolume
from fitkit.capture.signed_grid import SignedGrid, signed_grid
from fitkit.capture.surface_refinement import (
    SOME_CERTAINTY,
    Outlines,
    RefinementPass,
    best_views,
    fair,
    follow_outlines,
)
from fitkit.geometry.arrays import Bools, Floats
from fitkit.geometry.mesh import TriangleMesh

__all__ = ["Lack", "lacking_pattern", "patterned_points", "plain_surface"]

_VIEWS = 3
_PLAIN_SHARE, _BRIDGED_SHARE = 0.15, 0.02
_BRIDGED_MM = 12.0
# Stereo on a plain surface is off by this much: it carves only what lies farther before it.
_CARVE_MM, _CARVE_VOTES = 10.0, 5
_ROUNDS = 5
_FEWEST_POINTS = 500
_PASS = RefinementPass(12.0, 2.0, 4.0, 3, averaging=3)


@dataclass(frozen=True, slots=True)
class Lack:
    """How much of a surface the patterns leave open, as shares of its area.

    Attributes
    ----------
    plain
        Seen by three photos and more, and yet alike wherever it is moved.
    bridged
        Far from every point of the cloud.
    """

    plain: float
    bridged: float

    @property
    def is_plain(self) -> bool:
        """Whether the surface has to come from outlines."""
        return self.plain > _PLAIN_SHARE

    @property
    def calls_for_outlines(self) -> bool:
        """Whether outlines tell enough to be worth looking for."""
        return self.is_plain or self.bridged > _BRIDGED_SHARE


def lacking_pattern(
    surface: TriangleMesh,
    certainty: Floats,
    near: cKDTree,
    volume: CaptureVolume,
    cameras: Sequence[Camera],
    *,
    scale: float,
) -> Lack:
    """Return how much of a surface is plain and how much only bridges a gap.

    Parameters
    ----------
    surface
        After a pass of refinement.
    certainty
        (V,) float: of that pass.
    near
        Tree of the cloud's points.
    volume
        The column; its flat bottom does not count.
    cameras
        Of the photos used.
    scale
        Size of the subject's detail against that of a body.
    """
    area = surface.face_areas_mm2()
    area[(surface.corners[:, :, 2] < volume.bottom_mm + 2.0 * scale * _BRIDGED_MM).any(axis=1)] = (
        0.0
    )
    whole = max(float(area.sum()), 1.0)
    _, views_n = best_views(surface, surface.vertex_normals(), cameras)
    shown = views_n[surface.faces].min(axis=1) >= _VIEWS
    unsure = certainty[surface.faces].max(axis=1) < SOME_CERTAINTY
    away, _ = near.query(surface.vertices, workers=-1)
    bare = away[surface.faces].min(axis=1) > scale * _BRIDGED_MM
    return Lack(float(area[shown & unsure].sum()) / whole, float(area[bare].sum()) / whole)


def patterned_points(cloud: PointCloud, surface: TriangleMesh, certainty: Floats) -> Bools:
    """(P,) bool: which points lie where the photos show a pattern; never fewer than a few.

    What stereo says of a plain place only looks like a measurement.

    Parameters
    ----------
    cloud
        The points.
    surface, certainty
        After a pass of refinement, with (V,) float certainty of that pass.
    """
    _, nearest = cKDTree(surface.vertices).query(cloud.points_mm, workers=-1)
    sure = certainty[nearest]
    fewest = min(_FEWEST_POINTS, len(sure))
    limit = np.partition(sure, len(sure) - fewest)[len(sure) - fewest]
    return np.asarray(sure >= min(SOME_CERTAINTY, limit), dtype=np.bool_)


def plain_surface(
    hull: SignedGrid,
    fine: Sequence[DepthMap],
    cameras: Sequence[Camera],
    outlines: Outlines,
    *,
    scale: float,
) -> TriangleMesh:
    """Return the body inside the outlines, hollows carved by stereo, rims on their edges.

    Parameters
    ----------
    hull
        How far inside the outlines each node lies.
    fine
        Depth maps of the body that agree, however roughly.
    cameras
        Of the photos used.
    outlines
        Photos in which to look for the edge between body and room.
    scale
        Size of the subject's detail against that of a body.
    """
    axes = [hull.nodes_mm(axis) for axis in range(3)]
    nodes = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1)
    inner = hull.values_mm > -hull.cell_mm
    free = np.zeros(inner.shape, dtype=np.float32)
    free[inner] = seen_through(fine, nodes[inner], margin_mm=scale * _CARVE_MM) >= _CARVE_VOTES
    kept = np.float32(2.0 * hull.cell_mm) * (np.float32(0.5) - gaussian_filter(free, 1.0))
    values = np.minimum(hull.values_mm, kept)
    surface = mesh_of_grid(replace(hull, values_mm=values))
    for _ in range(_ROUNDS):
        surface, certainty = follow_outlines(surface, cameras, outlines, _PASS.scaled(scale))
        surface = fair(surface, certainty)
        grid = signed_grid(surface, cell_mm=hull.cell_mm, margin_mm=4 * hull.cell_mm)
        surface = mesh_of_grid(grid)
    return surface
