"""The plain chain the scan is measured against: stock corners, stock stereo, stock Poisson.

It shares with fitkit what is not in question (reading, pairs, agreement of maps, the adjustment
itself) and leaves out what is: saddles, edge fits, free space, carving and surface refinement.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields

import cv2
import numpy as np

from fitkit.capture.capture_volume import column_points, inside_volume
from fitkit.capture.closed_surface import cut_to_volume, mesh_of_grid, poisson_surface
from fitkit.capture.depth_agreement import agreeing_depths
from fitkit.capture.marker_sheet import MarkerSheet, marker_sheet_of_tag
from fitkit.capture.pair_choice import choose_pairs
from fitkit.capture.photo import Photo
from fitkit.capture.point_cloud import cloud_of_maps, largest_clusters
from fitkit.capture.saddle_points import SeenSaddles
from fitkit.capture.scan import CaptureVolume, SolvedCameras
from fitkit.capture.sheet_view import SheetView
from fitkit.capture.signed_grid import signed_grid
from fitkit.capture.solve_views import solve_views
from fitkit.capture.stereo_matching import match_pair
from fitkit.capture.stereo_pair import rectify_pair
from fitkit.capture.tag_edges import EdgeStations
from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh

__all__ = ["plain_cameras", "plain_surface"]

_HALF_PX = 1008


def plain_cameras(photos: Sequence[Photo]) -> SolvedCameras:
    """Return the cameras from the four corners of each tag, as OpenCV refines them.

    The corners stand in for saddles: four points a sheet, on the tag instead of beside it.
    """
    parameters = cv2.aruco.DetectorParameters()
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    detector = cv2.aruco.ArucoDetector(dictionary, parameters)
    views = []
    for index, photo in enumerate(photos):
        quads, ids, _ = detector.detectMarkers(photo.grey)
        for quad, tag_id in zip(quads, np.ravel(ids) if ids is not None else (), strict=True):
            sheet = marker_sheet_of_tag(int(tag_id))
            if sheet is not None:
                views.append(_view(index, sheet, np.asarray(quad, dtype=np.float64).reshape(4, 2)))
    return solve_views(photos, views)


def plain_surface(
    photos: Sequence[Photo], solved: SolvedCameras, volume: CaptureVolume
) -> TriangleMesh:
    """Return the Poisson surface of half-resolution depth maps that three pairs agree on."""
    by_name = {photo.name: photo for photo in photos}
    cameras = list(solved.cameras)
    greys = []
    for camera in cameras:
        grey = by_name[camera.photo].grey
        factor = min(1.0, _HALF_PX / max(grey.shape))
        greys.append(cv2.resize(grey, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA))
    column = column_points(volume)
    maps = []
    for i, j in choose_pairs(cameras, column):
        focal = min(
            cameras[k].lens.focal_px * greys[k].shape[1] / cameras[k].lens.width_px for k in (i, j)
        )
        pair = rectify_pair(cameras[i], cameras[j], column, focal_px=focal)
        if pair is not None:
            first, second = (i, j) if pair.first is cameras[i] else (j, i)
            maps += match_pair(pair, greys[first], greys[second])
    agreed = agreeing_depths(maps, column.mean(axis=0), within_mm=8.0, maps_n=3)
    keep = [inside_volume(volume, one.points_mm()) for one in agreed]
    cloud = largest_clusters(cloud_of_maps(agreed, keep, spacing_mm=3.0), gap_mm=12.0)
    surface = poisson_surface(cloud, cell_mm=4.0)
    grid = signed_grid(surface, cell_mm=4.0, margin_mm=16.0, flat_mm=volume.bottom_mm)
    return mesh_of_grid(cut_to_volume(grid, volume, carved=None))


class _CornerSheet(MarkerSheet):
    """A sheet whose measured points are the corners of its tag."""

    __slots__ = ()

    def saddles_mm(self) -> Floats:
        return self.tag_corners_mm()


def _view(index: int, sheet: MarkerSheet, corners_px: Floats) -> SheetView:
    none = np.zeros((0, 2))
    edges = EdgeStations(np.zeros((0, 3)), none, none, corners_px, 0.5)
    values = {field.name: getattr(sheet, field.name) for field in fields(MarkerSheet)}
    corner_sheet = _CornerSheet(**values)
    return SheetView(index, corner_sheet, edges, SeenSaddles(np.arange(4), corners_px))
