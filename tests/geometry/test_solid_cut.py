"""Solids cut and joined: volumes in closed form, and refusals in words."""

from __future__ import annotations

import numpy as np
import pytest

from fitkit.errors import MeshError
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.solid_cut import boxed, piece_at, side_of_plane, united, without_cylinder
from fitkit.geometry.topology import is_closed
from fitkit.geometry.winding import winding_number
from tests.truth import solids

BALL = solids.sphere(50, 4)


def moved(mesh: TriangleMesh, x: float) -> TriangleMesh:
    return mesh.with_vertices(mesh.vertices + np.array([x, 0.0, 0.0]))


def test_a_plane_halves_a_ball_whatever_its_tilt() -> None:
    for normal in ([0.0, 0.0, 1.0], [1.0, -2.0, 0.5]):
        half = side_of_plane(BALL, np.zeros(3), np.array(normal))
        assert is_closed(half)
        assert half.volume_mm3() == pytest.approx(0.5 * BALL.volume_mm3(), rel=1e-3)
        assert (half.vertices @ np.array(normal)).min() > -1e-6
    assert boxed(BALL, np.full(3, -60.0), np.array([60.0, 60.0, 0.0])).volume_mm3() == (
        pytest.approx(0.5 * BALL.volume_mm3(), rel=1e-3)
    )


def test_a_bar_through_a_ball_leaves_the_napkin_ring() -> None:
    """What is left has the volume of a ball as wide as the hole is long: pi h^3 / 6."""
    ring = without_cylinder(BALL, np.array([0.0, -60, 0]), np.array([0.0, 1.0, 0]), 30.0, 120.0)
    assert is_closed(ring)
    assert ring.volume_mm3() == pytest.approx(np.pi * 80.0**3 / 6, rel=0.02)


def test_the_piece_at_a_point_is_taken_and_union_counts_once() -> None:
    both = united([BALL, moved(BALL, 300.0)])
    assert both.volume_mm3() == pytest.approx(2 * BALL.volume_mm3(), rel=1e-6)
    right = piece_at(both, np.array([250.0, 0, 0]))
    assert right.vertices[:, 0].min() > 200
    twice = united([BALL, BALL])
    assert twice.volume_mm3() == pytest.approx(BALL.volume_mm3(), rel=1e-6)


def test_the_winding_number_counts_how_often_a_point_is_inside() -> None:
    faces = np.vstack([BALL.faces, BALL.faces + len(BALL.vertices)])
    two = TriangleMesh(np.vstack([BALL.vertices, moved(BALL, 60.0).vertices]), faces)
    points = np.array([[-30.0, 0, 0], [30.0, 0, 0], [0.0, 0, 200]])
    assert winding_number(two, points) == pytest.approx([1.0, 2.0, 0.0], abs=0.02)


def test_what_is_no_solid_and_what_leaves_nothing_is_refused() -> None:
    open_tube = solids.cylinder(40, 100, 10, capped=False)
    with pytest.raises(MeshError, match="no volume"):
        side_of_plane(open_tube, np.zeros(3), np.array([0.0, 0, 1]))
    with pytest.raises(MeshError, match="Nothing is left"):
        side_of_plane(BALL, np.array([0.0, 0, 80]), np.array([0.0, 0, 1]))
