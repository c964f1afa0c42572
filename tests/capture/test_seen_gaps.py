"""Two legs of a trestle with a web between them that only the start surface has."""

from __future__ import annotations

from functools import cache

import numpy as np
import open3d as o3d
import pytest
from scipy.spatial import cKDTree

from fitkit.capture.camera import Camera
from fitkit.capture.closed_surface import mesh_of_grid
from fitkit.capture.seen_gaps import open_gaps, spanned_areas
from fitkit.capture.signed_grid import SignedGrid
from fitkit.geometry.arrays import Bools, Bytes, Floats
from fitkit.geometry.mesh import TriangleMesh
from tests.capture.plain_ball import ball_cameras

_CELL_MM = 5.0
_LOW = np.array([-110.0, -50.0, -90.0])
_POST_MM, _RADIUS_MM, _HALF_MM = 45.0, 30.0, 75.0
_WEB_MM, _BEAM_MM = 12.0, 45.0  # half as thick; the beam's lower side
_GAP = np.array([0.0, 0.0, -10.0])


def _grid(*, web: bool) -> SignedGrid:
    axes = [_LOW[k] + _CELL_MM * np.arange(n) for k, n in enumerate((45, 21, 37))]
    x, y, z = np.meshgrid(*axes, indexing="ij")
    inside = _RADIUS_MM - np.hypot(np.abs(x) - _POST_MM, y)
    between = np.minimum(_WEB_MM - np.abs(y), _POST_MM - np.abs(x))
    inside = np.maximum(inside, between if web else np.minimum(between, z - _BEAM_MM))
    inside = np.minimum(inside, _HALF_MM - np.abs(z))
    return SignedGrid(inside.astype(np.float32), _LOW, _CELL_MM)


def _to_cloud_mm(surface: TriangleMesh) -> Floats:
    """Return distances to what stereo knows: the posts where they face away from the gap."""
    turn, height = np.meshgrid(np.linspace(-2.0, 2.0, 60), np.arange(-74.0, 75.0, 4.0))
    x = _POST_MM + _RADIUS_MM * np.cos(turn.ravel())
    y = _RADIUS_MM * np.sin(turn.ravel())
    post = np.column_stack([x, y, height.ravel()])
    ends = np.array(
        [[x, y, z] for x in range(20, 72, 4) for y in range(-24, 25, 4) for z in (-75, 75)]
    )
    beam = np.array(
        [[x, y, z] for x in range(0, 24, 4) for y in (-12, 12) for z in range(46, 76, 4)]
        + [[x, y, 75] for x in range(0, 24, 4) for y in range(-12, 13, 4)]
    )
    one = np.vstack([post, ends, beam])
    cloud = np.vstack([one, one * [-1.0, 1.0, 1.0]])
    return np.asarray(cKDTree(cloud).query(surface.vertices)[0])


@cache
def _pictures(web: bool, stain: bool = False) -> tuple[Bytes, ...]:
    """Return grey-green posts before a brown wall, in which the web shows or does not.

    A stain, as brown as the wall, covers a spot of one post.
    """
    mesh = mesh_of_grid(_grid(web=web))
    scene = o3d.t.geometry.RaycastingScene()
    scene.add_triangles(
        o3d.core.Tensor(mesh.vertices.astype(np.float32)),
        o3d.core.Tensor(mesh.faces.astype(np.uint32)),
    )
    return tuple(_picture(scene, camera, k, stain=stain) for k, camera in enumerate(ball_cameras()))


def _picture(
    scene: o3d.t.geometry.RaycastingScene, camera: Camera, seed: int, *, stain: bool
) -> Bytes:
    lens = camera.lens
    v, u = np.mgrid[0 : lens.height_px, 0 : lens.width_px]
    x = (u - lens.centre_x_px) / lens.focal_px
    y = (v - lens.centre_y_px) / lens.focal_px
    ways = np.stack([x, y, np.ones(x.shape)], axis=-1).reshape(-1, 3)
    ways = ways @ camera.camera_from_world.rotation
    rays = np.hstack([np.broadcast_to(camera.centre_mm(), ways.shape), ways])
    far = scene.cast_rays(o3d.core.Tensor(rays.astype(np.float32)))["t_hit"].numpy()
    hit = np.isfinite(far)
    if stain:
        met = rays[:, :3] + np.where(hit, far, 0.0)[:, None] * rays[:, 3:]
        hit &= ~_in_spot(met)
    hit = hit.reshape(x.shape)
    rng = np.random.default_rng(seed)
    colour = np.where(hit[..., None], [110.0, 130.0, 120.0], [120.0, 90.0, 70.0])
    return np.clip(colour + rng.normal(0.0, 8.0, (*x.shape, 3)), 0, 255).astype(np.uint8)


def _spanned(surface: TriangleMesh) -> tuple[list[Bools], Bools]:
    """Return the areas that span a hole of the cloud and the faces that lie on it."""
    to_cloud = _to_cloud_mm(surface)
    areas = spanned_areas(surface, to_cloud, bottom_mm=-70.0, scale=1.0, far_mm=10.0)
    return areas, (to_cloud < 3.0)[surface.faces].all(axis=1)


def _in_spot(points_mm: Floats) -> Bools:
    aside = np.abs(points_mm - [_POST_MM, -_RADIUS_MM, 0.0])
    return np.asarray((aside < [14.0, 20.0, 20.0]).all(axis=-1))


def _opened(*, web: bool) -> SignedGrid:
    grid = _grid(web=True)
    surface = mesh_of_grid(grid)
    areas, held = _spanned(surface)
    told: list[float] = []
    found = open_gaps(grid, surface, areas, held, _pictures(web), ball_cameras(), say=told.append)
    assert told == sorted(told)
    assert told[-1] == pytest.approx(1.0)
    return found


def _at(grid: SignedGrid, place_mm: Floats) -> float:
    return float(grid.values_mm[tuple(np.rint((place_mm - _LOW) / _CELL_MM).astype(int))])


def test_web_that_photos_look_through_is_opened_and_the_posts_stay() -> None:
    grid = _opened(web=False)
    assert _at(grid, _GAP) < -3.0
    truth = _grid(web=False).values_mm
    assert (grid.values_mm[truth > 6.0] > 0.0).all()
    height = _LOW[2] + _CELL_MM * np.arange(37)
    open_part = (height > -55.0) & (height < _BEAM_MM)
    left = (grid.values_mm > 0.0) & (truth < -6.0)
    assert left[:, :, open_part].sum() < 0.1 * (_grid(web=True).values_mm - truth > 6.0).sum()


def test_web_that_the_photos_show_stays() -> None:
    assert np.array_equal(_opened(web=True).values_mm > 0.0, _grid(web=True).values_mm > 0.0)


def test_spot_whose_far_side_is_known_stays_though_it_looks_like_the_room() -> None:
    grid = _grid(web=True)
    surface = mesh_of_grid(grid)
    spot = _in_spot(surface.vertices)[surface.faces].all(axis=1)
    _, held = _spanned(surface)
    pictures = _pictures(True, stain=True)
    dug, kept = (
        open_gaps(grid, surface, [spot], told, pictures, ball_cameras(), say=lambda _fraction: None)
        for told in (np.zeros_like(held), held & ~spot)
    )
    assert (dug.values_mm < grid.values_mm - 5.0).any()
    assert np.array_equal(kept.values_mm > 0.0, grid.values_mm > 0.0)


def test_one_photo_alone_opens_nothing() -> None:
    grid = _grid(web=True)
    surface = mesh_of_grid(grid)
    areas, held = _spanned(surface)
    looks_through = 4
    pictures = [_pictures(False)[looks_through]]
    cameras = [ball_cameras()[looks_through]]
    found = open_gaps(grid, surface, areas, held, pictures, cameras, say=lambda _fraction: None)
    assert found is grid


def test_spanned_areas_are_large_far_from_the_cloud_and_above_the_bottom() -> None:
    surface = mesh_of_grid(_grid(web=True))
    distance = _to_cloud_mm(surface)
    areas = spanned_areas(surface, distance, bottom_mm=-70.0, scale=1.0, far_mm=10.0)
    assert len(areas) == 2  # the web's front and its back
    for area in areas:
        corners = surface.corners[area].reshape(-1, 3)
        assert np.abs(corners[:, 0]).max() < _POST_MM
        assert corners[:, 2].min() > -70.0
    assert spanned_areas(surface, distance, bottom_mm=80.0, scale=1.0, far_mm=10.0) == []
    assert spanned_areas(surface, distance, bottom_mm=-70.0, scale=12.0, far_mm=10.0) == []
