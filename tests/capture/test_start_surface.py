"""Two walls with a narrow gap between them, and a web across it."""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from fitkit.capture.point_cloud import PointCloud, to_like_points_mm
from fitkit.geometry.mesh import TriangleMesh

_GAP_MM = 8.0


def _walls() -> PointCloud:
    """Return points 3 mm apart on walls at x = -4 and 4 mm that face each other."""
    y, z = (
        one.ravel() for one in np.meshgrid(np.arange(-30.0, 31.0, 3.0), np.arange(0.0, 61.0, 3.0))
    )
    points, normals = [], []
    for side in (-1.0, 1.0):
        points.append(np.column_stack([np.full(len(y), side * 0.5 * _GAP_MM), y, z]))
        normals.append(np.tile([-side, 0.0, 0.0], (len(y), 1)))
    return PointCloud(np.vstack(points), np.vstack(normals))


def _sheet(corner: list[float], along: list[float], up: list[float]) -> TriangleMesh:
    a, b, c = (np.array(one) for one in (corner, along, up))
    return TriangleMesh(np.array([a, a + b, a + b + c, a + c]), np.array([[0, 1, 2], [0, 2, 3]]))


def test_web_across_a_gap_is_near_its_sides_but_not_held_by_them() -> None:
    cloud = _walls()
    near = cKDTree(cloud.points_mm)
    web = _sheet([-3.0, 0.0, 20.0], [6.0, 0.0, 0.0], [0.0, 0.0, 10.0])
    assert near.query(web.vertices)[0].max() < 3.0
    assert np.all(np.isinf(to_like_points_mm(web, cloud, near)))


def test_wall_is_held_by_its_own_points_not_by_those_across() -> None:
    cloud = _walls()
    near = cKDTree(cloud.points_mm)
    wall = _sheet([3.0, 0.0, 21.0], [0.0, 0.0, 9.0], [0.0, 9.0, 0.0])
    assert np.allclose(wall.vertex_normals(), [-1.0, 0.0, 0.0])
    assert np.allclose(to_like_points_mm(wall, cloud, near), 1.0)
    turned = TriangleMesh(wall.vertices, wall.faces[:, ::-1])
    assert np.allclose(to_like_points_mm(turned, cloud, near), 7.0)
