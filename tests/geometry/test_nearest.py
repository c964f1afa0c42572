from __future__ import annotations

import numpy as np
import open3d as o3d
import pytest

from fitkit.errors import MeshError
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.nearest import SurfaceRays, nearest_on_mesh
from tests.truth import solids

TORUS = solids.torus(80, 30, 8)


def test_nearest_points_agree_with_open3d() -> None:
    """Reference library: Open3D's RaycastingScene, in single precision."""
    points = np.random.default_rng(5).uniform(-130, 130, (150, 3))
    nearest, faces, distance = nearest_on_mesh(TORUS, points)
    scene = o3d.t.geometry.RaycastingScene()
    scene.add_triangles(
        o3d.core.Tensor(TORUS.vertices.astype(np.float32)),
        o3d.core.Tensor(TORUS.faces.astype(np.uint32)),
    )
    reference = scene.compute_distance(o3d.core.Tensor(points.astype(np.float32))).numpy()
    assert np.allclose(distance, reference, atol=1e-3)
    assert np.allclose(np.linalg.norm(points - nearest, axis=1), distance, atol=1e-9)
    a, b, c = np.moveaxis(TORUS.corners[faces], 1, 0)
    height = np.einsum("ij,ij->i", np.cross(b - a, c - a), nearest - a)
    assert np.abs(height).max() < 1e-8


def test_no_points_give_no_answers() -> None:
    nearest, faces, distance = nearest_on_mesh(TORUS, np.zeros((0, 3)))
    assert (nearest.shape, faces.shape, distance.shape) == ((0, 3), (0,), (0,))


def test_a_cloud_is_refused() -> None:
    cloud = TriangleMesh(np.zeros((4, 3)), np.zeros((0, 3), dtype=np.int64))
    with pytest.raises(MeshError, match="no faces"):
        nearest_on_mesh(cloud, np.zeros((1, 3)))
    with pytest.raises(MeshError, match="no faces"):
        SurfaceRays(cloud)


def test_a_ray_through_a_torus_meets_it_four_times() -> None:
    shifted = TORUS.with_vertices(TORUS.vertices + np.array([0, 0, 1200]))
    rays = SurfaceRays(shifted)
    hits = rays.all_hits(np.array([[-300.0, 0.3, 1200.7]]), np.array([[2.0, 0, 0]]))
    assert hits.rays.tolist() == [0, 0, 0, 0]
    assert (np.diff(hits.distance_mm) > 0).all()
    exact = [300 - 110, 300 - 50, 300 + 50, 300 + 110]
    assert hits.distance_mm == pytest.approx(exact, abs=0.5)  # a chord's sagitta
    first = rays.first_hit(np.array([[-300.0, 0.3, 1200.7]]), np.array([[1.0, 0, 0]]))
    last = rays.last_hit(np.array([[-300.0, 0.3, 1200.7]]), np.array([[1.0, 0, 0]]))
    assert first.distance_mm[0] == hits.distance_mm[0]
    assert last.distance_mm[0] == hits.distance_mm[-1]
    assert last.faces[0] == hits.faces[-1]


def test_hits_are_exact_in_double_precision_far_from_the_origin() -> None:
    """Closed form: a sphere's faces are planes; the hit lies in the plane and on the ray."""
    ball = solids.sphere(100, 12)
    ball = ball.with_vertices(ball.vertices + np.array([4000.0, -2500.0, 1500.0]))
    centre = np.array([4000.0, -2500.0, 1500.0])
    direction = np.random.default_rng(2).normal(size=(200, 3))
    direction /= np.linalg.norm(direction, axis=1, keepdims=True)
    hits = SurfaceRays(ball).last_hit(np.tile(centre, (200, 1)), direction)
    assert (hits.faces >= 0).all()
    assert np.abs(np.cross(hits.points_mm - centre, direction)).max() < 1e-4
    a = ball.corners[hits.faces, 0]
    normal = ball.face_normals_scaled()[hits.faces]
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    assert np.abs(np.einsum("ij,ij->i", normal, hits.points_mm - a)).max() < 1e-9


def test_a_ray_through_a_vertex_leaves_once() -> None:
    ball = solids.sphere(100, 20)
    hits = SurfaceRays(ball).all_hits(np.zeros((len(ball.vertices), 3)), ball.vertices)
    assert (np.bincount(hits.rays, minlength=len(ball.vertices)) <= 1).all()
    assert len(hits.rays) > 0.9 * len(ball.vertices)
    assert np.allclose(hits.distance_mm, 100, atol=1e-3)


def test_a_miss_is_told_by_face_minus_one() -> None:
    origins = np.array([[0, 0, 500.0], [500, 0, 0]])
    hits = SurfaceRays(TORUS).first_hit(origins, np.array([[0, 0, 1.0], [-1, 0, 0]]))
    assert hits.faces[0] == -1
    assert np.isinf(hits.distance_mm[0])
    assert np.isnan(hits.points_mm[0]).all()
    assert hits.distance_mm[1] == pytest.approx(390, abs=0.5)
