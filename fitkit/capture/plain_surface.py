"""A surface for bodies whose photos carry too little pattern: outlines, smoothness, some stereo."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.spatial import cKDTree

from fitkit.capture.camera import Camera
from fitkit.capture.closed_surface import mesh_of_grid
from fitkit.capture.crease_gaps import open_creases
from fitkit.capture.depth_map import DepthMap
from fitkit.capture.gap_guard import kept_apart
from fitkit.capture.hollow_carving import carved_hull
from fitkit.capture.outline_moves import Outlines, follow_outlines
from fitkit.capture.outlined_body import OutlinedBody
from fitkit.capture.point_cloud import PointCloud
from fitkit.capture.refinement_pass import SOME_CERTAINTY, RefinementPass
from fitkit.capture.scan import CaptureVolume
from fitkit.capture.signed_grid import signed_grid
from fitkit.capture.surface_refinement import best_views
from fitkit.capture.surface_smoothing import fair
from fitkit.geometry.arrays import Bools, Floats
from fitkit.geometry.mesh import TriangleMesh

__all__ = ["is_plain", "patterned_points", "plain_share", "plain_surface"]

_VIEWS = 3
_PLAIN_SHARE = 0.15
_CUT_MM = 24.0
_ROUNDS = 5
_FEWEST_POINTS = 500
_PASS = RefinementPass(12.0, 2.0, 4.0, 3, averaging=3)


def is_plain(
    surface: TriangleMesh,
    certainty: Floats,
    volume: CaptureVolume,
    cameras: Sequence[Camera],
    *,
    scale: float,
) -> bool:
    """Tell whether so much of a surface lacks pattern that outlines have to hold it.

    Plain is what three photos and more see and what yet looks alike wherever it is moved; 15 % of
    the area in view of them is too much.

    Parameters
    ----------
    surface
        After a pass of refinement.
    certainty
        (V,) float: of that pass.
    volume
        The column; its flat bottom does not count.
    cameras
        Of the photos used.
    scale
        Size of the subject's detail against that of a body.
    """
    return plain_share(surface, certainty, volume, cameras, scale=scale) > _PLAIN_SHARE


def plain_share(
    surface: TriangleMesh,
    certainty: Floats,
    volume: CaptureVolume,
    cameras: Sequence[Camera],
    *,
    scale: float,
) -> float:
    """Return the share of the surface, by area, that is plain; see :func:`is_plain`."""
    area = surface.face_areas_mm2()
    low_mm = volume.bottom_mm + scale * _CUT_MM
    area[(surface.corners[:, :, 2] < low_mm).any(axis=1)] = 0.0
    _, views_n = best_views(surface, surface.vertex_normals(), cameras)
    shown = views_n[surface.faces].min(axis=1) >= _VIEWS
    unsure = certainty[surface.faces].max(axis=1) < SOME_CERTAINTY
    return float(area[shown & unsure].sum()) / max(float(area.sum()), 1.0)


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
    outlined: OutlinedBody,
    fine: Sequence[DepthMap],
    cameras: Sequence[Camera],
    outlines: Outlines,
    *,
    scale: float,
) -> TriangleMesh:
    """Return the body inside the outlines, rims on their edges, hollows as deep as stereo tells.

    Last its creases are opened where photos look through them.

    Parameters
    ----------
    outlined
        The body by its outlines.
    fine
        Depth maps of the body that agree, however roughly.
    cameras
        Of the photos used.
    outlines
        Photos in which to look for the edge between body and room.
    scale
        Size of the subject's detail against that of a body.
    """
    cell_mm = outlined.hull.cell_mm
    grid = carved_hull(outlined, fine, cameras, scale=scale)
    surface = mesh_of_grid(grid)
    for done in range(_ROUNDS):
        # Only once rims have settled is it plain what they do not hold.
        moved, certainty = follow_outlines(
            surface, cameras, outlines, _PASS.scaled(scale), sink=done + 1 == _ROUNDS
        )
        surface = kept_apart(surface, fair(moved, certainty), scale=scale)
        grid = signed_grid(surface, cell_mm=cell_mm, margin_mm=4 * cell_mm)
        surface = mesh_of_grid(grid)
    if outlines.cloud is None:
        return surface
    return open_creases(
        grid,
        outlines.cloud,
        outlines.pictures,
        cameras,
        bottom_mm=outlines.above_mm,
        scale=scale,
    )
