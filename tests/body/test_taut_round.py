from __future__ import annotations

import numpy as np
import pytest
from shapely import MultiPoint, Polygon

from fitkit.body.taut_round import plane_axes, taut_round, taut_rounds
from fitkit.geometry.mesh import TriangleMesh
from tests.truth import solids

UP = np.array([0.0, 0.0, 1.0])
TORUS = solids.torus(80, 30, 4)


def extruded(outline: np.ndarray, height: float) -> TriangleMesh:
    """Open sleeve over a plane outline."""
    n = len(outline)
    low = np.column_stack([outline, np.zeros(n)])
    now, after = np.arange(n), (np.arange(n) + 1) % n
    faces = np.vstack(
        [np.column_stack([now, after, n + after]), np.column_stack([now, n + after, n + now])]
    )
    return TriangleMesh(np.vstack([low, low + np.array([0, 0, height])]), faces)


def test_an_elliptic_girth_is_ramanujans() -> None:
    """Ramanujan's second formula, half axes 160 and 110: 855.517944 (computed, relative 1e-9)."""
    turn = 2 * np.pi * np.arange(2000) / 2000
    sleeve = extruded(np.column_stack([160 * np.cos(turn), 110 * np.sin(turn)]), 50)
    one = taut_round(sleeve, np.array([0, 0, 20.0]), UP)
    assert one is not None
    assert one.girth_mm == pytest.approx(855.517944, abs=0.01)
    assert one.area_mm2 == pytest.approx(np.pi * 160 * 110, rel=1e-5)
    assert one.centre_mm == pytest.approx([0, 0, 20], abs=1e-6)


def test_the_tape_bridges_a_hollow() -> None:
    """Reference library: shapely's convex hull of a five-pointed star."""
    turn = 2 * np.pi * np.arange(10) / 10
    radius = np.where(np.arange(10) % 2, 40.0, 100.0)
    star = np.column_stack([radius * np.cos(turn), radius * np.sin(turn)])
    one = taut_round(extruded(star, 30), np.array([0, 0, 10.0]), UP)
    assert one is not None
    assert one.girth_mm == pytest.approx(MultiPoint(star).convex_hull.length, abs=1e-9)
    assert one.girth_mm == pytest.approx(10 * 100 * np.sin(np.pi / 5), abs=1e-9)
    assert one.path.length_mm() == pytest.approx(Polygon(star).length, abs=1e-9)
    assert one.area_mm2 == pytest.approx(Polygon(star).area)


def test_the_round_about_the_point_is_taken() -> None:
    """A ring standing up is cut in two discs; each is found by a point inside it."""
    ring = TORUS.with_vertices(TORUS.vertices[:, [0, 2, 1]] * [1, -1, 1])
    for x in (-80.0, 80.0):
        one = taut_round(ring, np.array([x, 0, 0.5]), UP)
        assert one is not None
        assert one.centre_mm[0] == pytest.approx(x, abs=1)
        assert one.girth_mm == pytest.approx(2 * np.pi * 30, rel=0.01)
    near = taut_round(ring, np.array([130.0, 0, 0.5]), UP)
    assert near is not None
    assert near.centre_mm[0] > 0, "outside all rounds, the nearest"


def test_holes_and_crumbs_are_no_rounds() -> None:
    assert len(taut_rounds(TORUS, np.array([0, 0, 0.5]), UP)) == 1
    assert taut_rounds(solids.sphere(10, 3), np.zeros(3), UP) == ()
    assert taut_round(TORUS, np.array([0, 0, 90.0]), UP) is None


def test_plane_axes_are_right_handed() -> None:
    for normal in ([0, 0, 2.0], [1, 2, 3.0], [-1, 0, 0.0]):
        u, v = plane_axes(np.array(normal))
        assert np.cross(u, v) == pytest.approx(np.array(normal) / np.linalg.norm(normal))


def test_a_moved_round_is_the_round_of_the_moved_mesh() -> None:
    shift = np.array([3.0, -7.0, 0.0])
    (one,) = taut_rounds(TORUS, np.array([0, 0, 0.5]), UP)
    (other,) = taut_rounds(TORUS.with_vertices(TORUS.vertices + shift), np.array([0, 0, 0.5]), UP)
    assert one.moved(shift).path.points_mm == pytest.approx(other.path.points_mm)
    assert one.moved(shift).centre_mm == pytest.approx(other.centre_mm)
