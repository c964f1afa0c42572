"""How many photos see each place, against the closed form on a sphere."""

from __future__ import annotations

import numpy as np
import pytest

from fitkit.capture.camera import Camera, Lens
from fitkit.capture.coverage import cover_surface, free_ways
from fitkit.capture.scan import CaptureVolume
from fitkit.geometry.mesh import TriangleMesh
from tests.truth.solids import sphere
from tests.truth.textured_egg import camera_at

LENS = Lens(600, 600, 500.0, 299.5, 299.5)
VOLUME = CaptureVolume(0.0, 0.0, 400.0, -500.0, 500.0)


def ring(bearings_deg: list[float], *, distance_mm: float = 1000.0) -> tuple[Camera, ...]:
    """Return level cameras round the origin, at bearings from the front (-y) to the left (+x)."""
    cameras = []
    for bearing in np.radians(bearings_deg):
        centre = distance_mm * np.array([np.sin(bearing), -np.cos(bearing), 0.0])
        cameras.append(camera_at(f"{len(cameras)}", centre, np.zeros(3), lens=LENS))
    return tuple(cameras)


def joined(*meshes: TriangleMesh) -> TriangleMesh:
    starts = np.cumsum([0, *(len(mesh.vertices) for mesh in meshes)])
    return TriangleMesh(
        np.vstack([mesh.vertices for mesh in meshes]),
        np.vstack([mesh.faces + start for mesh, start in zip(meshes, starts, strict=False)]),
    )


def test_a_sphere_is_seen_where_the_closed_form_says() -> None:
    """On a sphere nothing hides: a photo sees what it looks at within 70 degrees."""
    cameras = ring([0, 25, 50, 100, 180, 270])
    coverage = cover_surface(sphere(200.0, 20.0), cameras, VOLUME)
    towards = np.stack([c.centre_mm() for c in cameras])[:, None] - coverage.points_mm
    towards /= np.linalg.norm(towards, axis=2, keepdims=True)
    cosine = np.einsum("cni,ni->cn", towards, coverage.normals)
    limit = np.cos(np.radians(70.0))
    assert (np.abs(cosine - limit) > 1e-6).all()
    np.testing.assert_array_equal(coverage.views_n, (cosine > limit).sum(axis=0))
    seen = coverage.views_n > 0
    np.testing.assert_allclose(
        coverage.angle_rad[seen], np.arccos(cosine.max(axis=0)[seen]), atol=1e-9
    )
    assert (coverage.angle_rad[~seen] == 0.5 * np.pi).all()


def test_a_cap_of_the_sphere_has_its_share_of_the_area() -> None:
    """Archimedes: the zone between two parallel planes has the area of the height between."""
    coverage = cover_surface(sphere(200.0, 10.0), ring([0]), VOLUME, most_places=2000)
    assert len(coverage.points_mm) <= 2000
    assert coverage.area_mm2.sum() == pytest.approx(4 * np.pi * 200.0**2, rel=0.01)
    assert coverage.share(coverage.points_mm[:, 2] > 100.0) == pytest.approx(0.25, abs=0.01)


def test_what_stands_in_front_hides_what_is_behind() -> None:
    front, back = sphere(150.0, 15.0), sphere(100.0, 15.0)
    both = joined(front, back.with_vertices(back.vertices + np.array([0.0, 400.0, 0.0])))
    coverage = cover_surface(both, ring([0, 180]), VOLUME)
    behind = coverage.points_mm[:, 1] > 280.0
    facing_us = behind & (coverage.normals[:, 1] < -0.5)
    away = behind & (coverage.normals[:, 1] > 0.5)
    assert (coverage.views_n[facing_us] == 0).all()
    assert (coverage.views_n[away] == 1).all()


def test_what_lies_outside_the_photo_is_not_seen() -> None:
    near = ring([0], distance_mm=260.0)
    coverage = cover_surface(sphere(200.0, 20.0), near, VOLUME)
    towards = near[0].centre_mm() - coverage.points_mm
    towards /= np.linalg.norm(towards, axis=1, keepdims=True)
    turned_to = np.einsum("ni,ni->n", towards, coverage.normals) > 0.5
    inside = np.abs(near[0].project(coverage.points_mm) - 299.5).max(axis=1) < 299.0
    assert (turned_to & ~inside).any()
    assert (coverage.views_n[turned_to & ~inside] == 0).all()


def test_the_flat_cut_does_not_count() -> None:
    ball = sphere(200.0, 20.0)
    flat = ball.with_vertices(np.maximum(ball.vertices, [-1e9, -1e9, -120.0]))
    volume = CaptureVolume(0.0, 0.0, 400.0, -120.0, 500.0)
    coverage = cover_surface(flat, ring([0, 120, 240]), volume)
    assert coverage.points_mm[:, 2].min() > -120.0
    faces = coverage.views_of_faces(flat, volume)
    cut = (flat.corners[:, :, 2] <= -120.0).all(axis=1)
    assert cut.any()
    assert (faces[cut] == -1).all()
    assert (faces[~cut] >= 0).all()


def test_faces_take_the_count_of_their_own_side() -> None:
    """A plate 4 mm thick, seen from the front only: the back must not borrow its front's count."""
    ball = sphere(1.0, 0.05)
    plate = ball.with_vertices(ball.vertices * [200.0, 2.0, 200.0])
    coverage = cover_surface(plate, ring([0]), VOLUME, most_places=1500)
    faces = coverage.views_of_faces(plate, VOLUME)
    normal = plate.face_normals_scaled()
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    assert (faces[normal[:, 1] < -0.6] == 1).mean() > 0.99
    assert (faces[normal[:, 1] > 0.6] == 0).mean() > 0.99


def test_a_way_is_free_where_nothing_stands_in_it() -> None:
    wall = sphere(1.0, 0.1)
    wall = wall.with_vertices(wall.vertices * [200.0, 5.0, 200.0] + [0.0, -300.0, 0.0])
    both = joined(sphere(100.0, 15.0), wall)
    ways = np.array([[0.0, -1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])
    points = np.array([[0.0, -100.0, 0.0], [100.0, 0.0, 0.0]])
    np.testing.assert_array_equal(
        free_ways(both, points, points / 100.0, ways),
        [[False, False, False], [False, True, False]],
    )
