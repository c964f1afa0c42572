"""The web between a trestle's legs, of whose legs stereo knows only the outer sides, roughly."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial import cKDTree

from fitkit.capture.closed_surface import mesh_of_grid
from fitkit.capture.crease_gaps import open_creases
from fitkit.capture.point_cloud import PointCloud
from fitkit.geometry.mesh import TriangleMesh
from tests.capture.plain_ball import ball_cameras
from tests.capture.trestle import BEAM_MM, known_points, trestle, trestle_pictures


def _rough_cloud() -> PointCloud:
    """Of the legs' outer sides, 3 mm too deep."""
    surface = mesh_of_grid(trestle(web=False))
    points = known_points()
    _, nearest = cKDTree(surface.vertices).query(points)
    normals = surface.vertex_normals()[nearest]
    return PointCloud(points - 3.0 * normals, normals)


def _opened(*, web: bool) -> TriangleMesh:
    return open_creases(
        trestle(web=True),
        _rough_cloud(),
        trestle_pictures(web),
        ball_cameras(),
        bottom_mm=-70.0,
        scale=1.0,
    )


def _web_mm3(surface: TriangleMesh) -> float:
    return surface.volume_mm3() - mesh_of_grid(trestle(web=False)).volume_mm3()


def test_web_that_photos_look_through_is_opened_to_the_beam() -> None:
    opened = _opened(web=False)
    assert _web_mm3(opened) < 0.25 * _web_mm3(mesh_of_grid(trestle(web=True)))
    under = np.abs(opened.vertices[:, 0]) < 5.0
    heights = opened.vertices[under & (opened.vertices[:, 2] > -40.0), 2]
    assert heights.min() == pytest.approx(BEAM_MM, abs=6.0)


def test_web_that_the_photos_show_stays() -> None:
    assert _web_mm3(_opened(web=True)) == pytest.approx(
        _web_mm3(mesh_of_grid(trestle(web=True))), rel=0.02
    )
