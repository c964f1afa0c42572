"""A trestle with a thin wall between its legs; the hull of its outlines fills both hollows."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import open3d as o3d
import pytest

from fitkit.capture.camera import Camera
from fitkit.capture.closed_surface import mesh_of_grid
from fitkit.capture.depth_map import DepthMap
from fitkit.capture.hollow_carving import carved_hull
from fitkit.capture.outlined_body import OutlinedBody
from fitkit.capture.signed_grid import SignedGrid
from fitkit.geometry.arrays import Bools, Floats
from tests.capture.plain_ball import ball_cameras
from tests.capture.trestle import LOW, POST_MM, trestle

_WALL_MM = 2000.0
_MATRIX = np.array([[165.0, 0.0, 45.0], [0.0, 165.0, 60.0], [0.0, 0.0, 1.0]])


def _hull() -> SignedGrid:
    """Return the trestle, its hollows filled as thick as the legs are."""
    grid = trestle(web=True)
    x, y, z = _nodes(grid)
    filled = np.minimum(np.minimum(30.0 - np.abs(y), POST_MM - np.abs(x)), 75.0 - np.abs(z))
    return SignedGrid(np.maximum(grid.values_mm, filled).astype(np.float32), LOW, grid.cell_mm)


def _nodes(grid: SignedGrid) -> tuple[Floats, Floats, Floats]:
    x, y, z = np.meshgrid(*(grid.nodes_mm(k) for k in range(3)), indexing="ij")
    return x, y, z


@cache
def _seen() -> tuple[tuple[Floats, ...], tuple[Bools, ...]]:
    """Depths along the views' axes, infinite beside the trestle, and outlines."""
    mesh = mesh_of_grid(trestle(web=True))
    scene = o3d.t.geometry.RaycastingScene()
    scene.add_triangles(
        o3d.core.Tensor(mesh.vertices.astype(np.float32)),
        o3d.core.Tensor(mesh.faces.astype(np.uint32)),
    )
    depths = []
    for camera in ball_cameras():
        v, u = np.mgrid[0:120, 0:90]
        ways = np.stack([(u - 45.0) / 165.0, (v - 60.0) / 165.0, np.ones(u.shape)], axis=-1)
        ways = ways.reshape(-1, 3) @ camera.camera_from_world.rotation
        rays = np.hstack([np.broadcast_to(camera.centre_mm(), ways.shape), ways])
        far = scene.cast_rays(o3d.core.Tensor(rays.astype(np.float32)))["t_hit"].numpy()
        depths.append(far.reshape(u.shape).astype(np.float64))
    return tuple(depths), tuple(np.isfinite(depth) for depth in depths)


def _views() -> list[Camera]:
    """Return the cameras of the outlines: half the size, no distortion."""
    lens = replace(
        ball_cameras()[0].lens,
        width_px=90,
        height_px=120,
        focal_px=165.0,
        centre_x_px=45.0,
        centre_y_px=60.0,
        k1=0.0,
        k2=0.0,
        p1=0.0,
        p2=0.0,
    )
    return [replace(camera, lens=lens) for camera in ball_cameras()]


def _carved(*, leg_missed: bool) -> SignedGrid:
    depths, outlines = _seen()
    maps = []
    for depth, camera in zip(depths, _views(), strict=True):
        found = np.where(np.isfinite(depth), depth, _WALL_MM)
        if leg_missed:
            leg = camera.project(np.array([[POST_MM, 0.0, 0.0]]))[0, 0]
            missed = np.abs(np.arange(90) - leg) < 12
            found[:, missed] = _WALL_MM
        maps.append(DepthMap(found.astype(np.float32), _MATRIX, camera.camera_from_world))
    return carved_hull(OutlinedBody(_hull(), outlines), maps, _views(), scale=1.0)


@pytest.mark.parametrize("leg_missed", [False, True])
def test_hollows_are_carved_and_no_outline_is_laid_bare(leg_missed: bool) -> None:
    carved = _carved(leg_missed=leg_missed)
    x, y, z = _nodes(carved)
    hollow = (np.abs(x) < 10.0) & (np.abs(np.abs(y) - 25.0) < 1.0) & (np.abs(z) < 50.0)
    assert hollow.any()
    if not leg_missed:
        assert (carved.values_mm[hollow] < 0.0).all()
    outer = (trestle(web=True).values_mm > 3.0) & (np.abs(x) > POST_MM)
    assert (carved.values_mm[outer] > 0.0).mean() > 0.99
