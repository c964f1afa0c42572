"""Smooth lines against splines and circles."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import CubicSpline
from scipy.spatial import cKDTree

from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.nearest import nearest_on_mesh
from fitkit.geometry.smooth_path import smooth_path
from fitkit.geometry.surface_cut import insert_paths
from fitkit.geometry.surface_point import SurfacePoint
from tests.truth.solids import cylinder, plane_rectangle, sphere


def on(mesh: TriangleMesh, points: Floats) -> list[SurfacePoint]:
    places, faces, _ = nearest_on_mesh(mesh, points)
    return [SurfacePoint(p, f) for p, f in zip(places, faces, strict=True)]


def test_on_a_plane_it_is_the_natural_cubic_spline() -> None:
    """The natural cubic spline minimises the same integral (Holladay 1957, from memory).

    Compared with SciPy's; 0.15 mm is what samples 5 mm apart may differ.
    """
    mesh = plane_rectangle(400, 300, 10)
    points = np.array([[50, 0, 50], [150, 0, 200], [250, 0, 100], [350, 0, 220.0]])
    path = smooth_path(mesh, on(mesh, points))
    knots = np.r_[0, np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))]
    spline = CubicSpline(knots, points, bc_type="natural")(np.linspace(0, knots[-1], 20_000))
    assert cKDTree(spline).query(path.points_mm)[0].max() < 0.15
    assert path.length_mm() == pytest.approx(
        np.linalg.norm(np.diff(spline, axis=0), axis=1).sum(), rel=1e-3
    )


def test_closed_line_round_a_cylinder_is_its_level_round() -> None:
    mesh = cylinder(100, 400, 12)
    turn = np.arange(3) * 2 * np.pi / 3 + 0.1
    points = np.column_stack([100 * np.cos(turn), 100 * np.sin(turn), np.full(3, 203.0)])
    path = smooth_path(mesh, on(mesh, points), closed=True)
    assert path.closed
    assert path.points_mm[:, 2] == pytest.approx(203.0, abs=0.05)
    assert path.length_mm() == pytest.approx(2 * np.pi * 100, rel=2e-3)


def test_line_passes_exactly_through_its_points_and_has_no_corner_there() -> None:
    mesh = sphere(200, 12)
    generator = np.random.default_rng(6)
    turn = np.array([0.2, 1.5, 3.2, 4.6])
    points = np.column_stack(
        [150 * np.cos(turn), 150 * np.sin(turn), generator.uniform(80, 150, 4)]
    )
    stops = on(mesh, points)
    path = smooth_path(mesh, stops, closed=True)
    nearest, at = cKDTree(path.points_mm).query([s.point_mm for s in stops])
    assert nearest.max() < 1e-4
    arc = np.r_[0, np.cumsum(np.linalg.norm(np.diff(path.points_mm, axis=0), axis=1))]
    for i in at:
        before, after = (
            np.array(
                [np.interp((arc[i] + step) % arc[-1], arc, path.points_mm[:, k]) for k in range(3)]
            )
            for step in (-8.0, 8.0)
        )
        ways = [path.points_mm[i] - before, after - path.points_mm[i]]
        cosine = ways[0] @ ways[1] / np.linalg.norm(ways[0]) / np.linalg.norm(ways[1])
        # The shortest lines meet at up to 70 degrees here; a curve of 100 mm radius turns 5 in 8.
        assert np.degrees(np.arccos(cosine)) < 12
    insert_paths(mesh, [path])


def test_two_points_are_joined_by_the_shortest_line() -> None:
    mesh = sphere(100, 15)
    path = smooth_path(mesh, on(mesh, np.array([[100, 0, 0], [0, 100.0, 0]])))
    assert path.length_mm() == pytest.approx(50 * np.pi, rel=3e-3)


def test_line_keeps_to_the_rim_of_a_hollow() -> None:
    """A point in space half way would drop to the wrong wall of a slot; the line does not jump."""
    x = np.linspace(-100, 100, 81)
    z = np.linspace(0, 100, 41)
    grid_x, grid_z = np.meshgrid(x, z)
    depth = 60 * np.exp(-((grid_x / 18.0) ** 2))
    vertices = np.column_stack([grid_x.ravel(), depth.ravel(), grid_z.ravel()])
    faces = []
    for row in range(40):
        for column in range(80):
            a = 81 * row + column
            faces += [[a, a + 1, a + 82], [a, a + 82, a + 81]]
    mesh = TriangleMesh(vertices, np.array(faces))
    path = smooth_path(mesh, on(mesh, np.array([[-60, 0, 20], [0, 60, 50], [60.0, 0, 80]])))
    assert (np.diff(path.points_mm[:, 0]) > -1e-6).all()
    assert np.linalg.norm(np.diff(path.points_mm, axis=0), axis=1).max() < 8
