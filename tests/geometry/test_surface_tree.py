"""Distances and crossings found in the tree of boxes are those of another library."""

from __future__ import annotations

import numpy as np
import pytest

from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.nearest import nearest_on_mesh, rays_of
from fitkit.geometry.surface_tree import crosses, nearest_in, surface_tree


def waves(seed: int) -> TriangleMesh:
    """Return a crumpled sheet of 40 by 40 places, 5 mm apart."""
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[0:40, 0:40] * 5.0
    places = np.stack([x, y, rng.uniform(0, 12, x.shape)], axis=-1).reshape(-1, 3)
    corner = (np.arange(39)[:, None] * 40 + np.arange(39)).ravel()
    faces = np.vstack([corner, corner + 1, corner + 41, corner, corner + 41, corner + 40])
    faces = faces.reshape(2, 3, -1).transpose(0, 2, 1).reshape(-1, 3)
    return TriangleMesh(places, faces)


def about(mesh: TriangleMesh, count: int) -> Floats:
    low, high = mesh.bounds_mm()
    return np.random.default_rng(4).uniform(low - 30, high + 30, (count, 3))


def test_distances_are_those_of_libigl_and_stop_at_the_most() -> None:
    mesh = waves(1)
    points = about(mesh, 2000)
    expected = nearest_on_mesh(mesh, points)[2]
    tree = surface_tree(mesh)
    assert tree.distance_mm(points) == pytest.approx(expected, abs=1e-9)
    near = tree.distance_mm(points, 20.0)
    assert near[expected < 20.0] == pytest.approx(expected[expected < 20.0], abs=1e-9)
    assert np.isinf(near[expected > 20.0]).all()


def test_boxes_follow_a_surface_that_moves() -> None:
    mesh = waves(2)
    places = mesh.vertices @ np.array([[0.0, 1, 0], [-1, 0, 0], [0, 0, 1]]) * 1.3 + 50.0
    points = about(TriangleMesh(places, mesh.faces), 500)
    moved = surface_tree(mesh).moved(places)
    expected = nearest_on_mesh(TriangleMesh(places, mesh.faces), points)[2]
    assert moved.distance_mm(points) == pytest.approx(expected, abs=1e-9)


def test_ways_cross_where_rays_of_open3d_hit() -> None:
    mesh = waves(3)
    starts, ends = about(mesh, 1500), about(mesh, 3000)[1500:]
    hits = rays_of(mesh).first_hit(starts, ends - starts)
    expected = hits.distance_mm <= np.linalg.norm(ends - starts, axis=1)
    boxes = surface_tree(mesh).boxes
    found = [crosses(boxes, *a, *b) for a, b in zip(starts, ends, strict=True)]
    assert np.array_equal(found, expected)
    assert 200 < expected.sum() < 1300


def test_at_a_sharp_edge_the_face_turned_most_towards_a_place_tells_its_side() -> None:
    """Outside a thin wedge the edge is nearest; one of its two faces is seen from behind."""
    wedge = np.array([[0.0, -50, 0], [0, 50, 0], [40, 0, -5], [40, 0, -15]])
    for faces in ([[0, 1, 3], [1, 0, 2]], [[1, 0, 2], [0, 1, 3]]):
        boxes = surface_tree(TriangleMesh(wedge, np.array(faces))).boxes
        for x, z in ((-3.0, 10.0), (-6.0, -10.0)):
            square, face, before = nearest_in(boxes, x, 0.0, z, np.inf, -1)
            assert square == pytest.approx(x * x + z * z)
            assert face >= 0
            assert before > 9.0
