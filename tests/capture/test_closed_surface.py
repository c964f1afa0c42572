"""Closed surfaces from grids and clouds."""

from __future__ import annotations

import numpy as np
import pytest

from fitkit.capture.closed_surface import (
    carving_field,
    cut_to_volume,
    mesh_of_grid,
    poisson_surface,
)
from fitkit.capture.point_cloud import PointCloud, largest_clusters
from fitkit.capture.scan import CaptureVolume
from fitkit.capture.signed_grid import SignedGrid, signed_grid, upsampled
from fitkit.errors import PhotoError
from fitkit.geometry.topology import components, euler_characteristic, is_closed
from tests.truth.textured_egg import BOTTOM_MM, VOLUME, egg_mesh, egg_volume_mm3


def ball_grid(radius_mm: float = 60.0, cell_mm: float = 4.0) -> SignedGrid:
    axis = np.arange(-100.0, 100.1, cell_mm)
    x, y, z = np.meshgrid(axis, axis, axis + 1.0, indexing="ij")
    values = radius_mm - np.sqrt(x * x + y * y + z * z)
    return SignedGrid(values.astype(np.float32), np.array([-100.0, -100.0, -99.0]), cell_mm)


def test_a_ball_comes_out_closed_outward_and_of_its_volume() -> None:
    """4/3 pi r^3; facets 4 mm long on r = 60 mm lie up to h^2 / (8 r) = 0.03 mm inside."""
    mesh = mesh_of_grid(ball_grid())
    assert is_closed(mesh)
    assert euler_characteristic(mesh) == 2
    assert mesh.volume_mm3() == pytest.approx(4 / 3 * np.pi * 60.0**3, rel=3e-3)


def test_a_cut_is_flat_at_the_bottom() -> None:
    volume = CaptureVolume(0.0, 0.0, 90.0, -25.0, 90.0)
    mesh = mesh_of_grid(cut_to_volume(ball_grid(), volume, carved=None))
    assert is_closed(mesh)
    bottom = mesh.corners[:, :, 2].max(axis=1) < -24.9
    assert mesh.vertices[:, 2].min() == pytest.approx(-25.0, abs=1e-3)
    # The rim is bevelled over one cell of 4 mm.
    disc = np.pi * (60.0**2 - 25.0**2)
    assert mesh.face_areas_mm2()[bottom].sum() == pytest.approx(disc, rel=0.15)
    height = 60.0 + 25.0  # spherical cap: pi h^2 (3 r - h) / 3
    assert mesh.volume_mm3() == pytest.approx(np.pi * height**2 * (180.0 - height) / 3, rel=5e-3)


def test_carving_takes_away_what_is_free() -> None:
    grid = ball_grid()
    free = np.zeros([(n + 1) // 2 for n in grid.values_mm.shape], dtype=np.bool_)
    free[free.shape[0] // 2 :] = True
    carved = carving_field(free, step=2, cell_mm=grid.cell_mm)
    assert carved.shape == grid.values_mm.shape
    mesh = mesh_of_grid(cut_to_volume(grid, CaptureVolume(0, 0, 90, -90, 90), carved=carved))
    assert is_closed(mesh)
    assert mesh.volume_mm3() == pytest.approx(2 / 3 * np.pi * 60.0**3, rel=0.1)


def test_upsampling_is_linear() -> None:
    values = np.arange(8, dtype=np.float32).reshape(2, 2, 2)
    fine = upsampled(values, 0, 4)
    assert fine.shape == (5, 2, 2)
    np.testing.assert_allclose(fine[:, 0, 0], [0, 1, 2, 3, 4])


def test_signed_distances_are_those_of_the_mesh() -> None:
    """Resampling the egg keeps its closed-form volume, cut at a height between layers."""
    grid = signed_grid(egg_mesh(), cell_mm=5.0, margin_mm=15.0, flat_mm=BOTTOM_MM)
    mesh = mesh_of_grid(cut_to_volume(grid, VOLUME, carved=None))
    assert is_closed(mesh)
    assert mesh.volume_mm3() == pytest.approx(egg_volume_mm3(BOTTOM_MM), rel=2e-3)


def test_only_the_largest_piece_stays() -> None:
    grid = ball_grid()
    values = grid.values_mm.copy()
    values[2:5, 2:5, 2:5] = 3.0
    mesh = mesh_of_grid(SignedGrid(values, grid.low_mm, grid.cell_mm))
    assert components(mesh).max() == 0
    assert mesh.volume_mm3() == pytest.approx(4 / 3 * np.pi * 60.0**3, rel=3e-3)


def test_an_empty_volume_is_an_error_with_a_remedy() -> None:
    far = CaptureVolume(5000.0, 0.0, 90.0, -90.0, 90.0)
    with pytest.raises(PhotoError, match="capture volume") as caught:
        mesh_of_grid(cut_to_volume(ball_grid(), far, carved=None))
    assert "radius" in caught.value.remedy


def sphere_cloud(count: int, centre: tuple[float, float, float], radius: float) -> PointCloud:
    normals = np.random.default_rng(1).normal(size=(count, 3))
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    return PointCloud(centre + radius * normals, normals)


def test_poisson_surface_follows_the_points() -> None:
    mesh = poisson_surface(sphere_cloud(20_000, (10.0, 0.0, 500.0), 100.0), cell_mm=6.0)
    distance = np.linalg.norm(mesh.vertices - [10.0, 0.0, 500.0], axis=1)
    assert abs(distance - 100.0).max() < 1.5
    assert mesh.volume_mm3() > 0


def test_a_far_speck_is_dropped_from_the_cloud() -> None:
    ball = sphere_cloud(5_000, (0.0, 0.0, 0.0), 100.0)
    speck = sphere_cloud(30, (400.0, 0.0, 0.0), 5.0)
    both = PointCloud(
        np.vstack([ball.points_mm, speck.points_mm]), np.vstack([ball.normals, speck.normals])
    )
    kept = largest_clusters(both, gap_mm=15.0)
    assert kept.points_mm[:, 0].max() < 101.0
    assert len(kept.points_mm) > 4_900
