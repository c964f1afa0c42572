"""Photos pull a rough surface to where it is."""

from __future__ import annotations

import numpy as np
import pytest

from fitkit.capture.closed_surface import mesh_of_grid
from fitkit.capture.photo_patches import SurfacePatches, patch_likeness, stack_photos
from fitkit.capture.refinement_pass import RefinementPass
from fitkit.capture.signed_grid import signed_grid
from fitkit.capture.surface_refinement import refine_surface
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.nearest import nearest_on_mesh
from tests.truth.textured_egg import CENTRE_Z_MM, egg_mesh, egg_scene


def swollen_egg(by_mm: float) -> TriangleMesh:
    mesh = mesh_of_grid(signed_grid(egg_mesh(), cell_mm=6.0, margin_mm=18.0))
    return mesh.with_vertices(mesh.vertices + by_mm * mesh.vertex_normals())


def side_error_mm(mesh: TriangleMesh) -> np.ndarray:
    """Distances of the vertices that the ring of cameras sees squarely."""
    seen = np.abs(mesh.vertices[:, 2] - CENTRE_Z_MM) < 150.0
    return nearest_on_mesh(egg_mesh(), mesh.vertices[seen])[2]


def test_an_egg_swollen_by_three_millimetres_shrinks_back() -> None:
    """Three tenths of a millimetre is a fifth of a pixel of these small photos."""
    scene = egg_scene()
    photos = stack_photos(scene.solved.cameras, [photo.grey for photo in scene.photos])
    start = swollen_egg(3.0)
    assert np.median(side_error_mm(start)) == pytest.approx(3.0, abs=0.1)
    settings = RefinementPass(5.0, 1.0, 3.0, 3)
    mesh, certainty = refine_surface(start, scene.solved.cameras, photos, settings)
    error = side_error_mm(mesh)
    assert np.median(error) < 0.3
    assert np.percentile(error, 95) < 0.8
    assert certainty.min() >= 0.0
    assert np.median(certainty) > 0.3


def test_without_pattern_the_surface_stays_and_says_that_it_knows_nothing() -> None:
    scene = egg_scene()
    rng = np.random.default_rng(0)
    blank = [
        np.clip(rng.normal(128, 1.5, photo.grey.shape), 0, 255).astype(np.uint8)
        for photo in scene.photos
    ]
    photos = stack_photos(scene.solved.cameras, blank)
    start = swollen_egg(3.0)
    settings = RefinementPass(5.0, 1.0, 3.0, 3)
    mesh, certainty = refine_surface(start, scene.solved.cameras, photos, settings)
    assert certainty.max() < 0.05
    assert np.abs(mesh.vertices - start.vertices).max() < 1.0


def one_patch(index: int = 0) -> SurfacePatches:
    scene = egg_scene()
    mesh = egg_mesh()
    vertex = int(np.argmin(np.abs(mesh.vertices - [0.0, -120.0, CENTRE_Z_MM]).sum(axis=1)))
    place = mesh.vertices[vertex]
    normal = mesh.vertex_normals()[vertex]
    along = np.cross([0.0, 0.0, 1.0], normal)
    along /= np.linalg.norm(along)
    across = np.cross(normal, along)
    towards = np.array([camera.centre_mm() for camera in scene.solved.cameras]) - place
    cosine = towards @ normal / np.linalg.norm(towards, axis=1)
    views = np.argsort(-cosine)[:6]
    return SurfacePatches(
        place[None],
        normal[None],
        along[None],
        across[None],
        np.zeros((1, 3)),
        views[None].astype(np.int64),
        np.array([4 if index == 0 else 1]),
    )


def test_the_likeness_peaks_on_the_surface() -> None:
    scene = egg_scene()
    photos = stack_photos(scene.solved.cameras, [photo.grey for photo in scene.photos])
    offsets = np.arange(-8.0, 8.1, 0.5)
    values = patch_likeness(photos, one_patch(), offsets, spacing_mm=2.5, half_n=3)[0]
    assert abs(offsets[values.argmax()]) <= 0.5
    assert values.max() > 0.8


def test_one_view_alone_tells_nothing() -> None:
    scene = egg_scene()
    photos = stack_photos(scene.solved.cameras, [photo.grey for photo in scene.photos])
    values = patch_likeness(photos, one_patch(1), np.zeros(1), spacing_mm=2.5, half_n=3)
    assert values[0, 0] == 0.0


def test_halved_photos_show_a_point_at_the_halved_place() -> None:
    """Pixel centres: u of a halved photo is (u + 1/2) / 2 - 1/2."""
    scene = egg_scene()
    cameras = scene.solved.cameras[:1]
    whole = stack_photos(cameras, [np.zeros((544, 408), np.uint8)])
    half = stack_photos(cameras, [np.zeros((272, 204), np.uint8)])
    np.testing.assert_allclose(half.camera[0, 12], 0.5 * whole.camera[0, 12])
    np.testing.assert_allclose(half.camera[0, 13:15] + 0.5, 0.5 * (whole.camera[0, 13:15] + 0.5))


def test_a_true_surface_stays_where_it_is() -> None:
    """Curved patches in full perspective leave no pull inward: 0.02 mm is 0.1 mm of girth."""
    scene = egg_scene()
    photos = stack_photos(scene.solved.cameras, [photo.grey for photo in scene.photos])
    start = mesh_of_grid(signed_grid(egg_mesh(), cell_mm=5.0, margin_mm=15.0))
    settings = RefinementPass(1.2, 0.3, 2.2, 4)
    mesh, _ = refine_surface(start, scene.solved.cameras, photos, settings)
    seen = np.abs(mesh.vertices[:, 2] - CENTRE_Z_MM) < 130.0
    moved = np.einsum("vi,vi->v", mesh.vertices - start.vertices, start.vertex_normals())
    assert abs(moved[seen].mean()) < 0.02
