"""A trestle of two legs and a beam, or with a web between the legs that only a surface has."""

from __future__ import annotations

from functools import cache

import numpy as np
import open3d as o3d

from fitkit.capture.camera import Camera
from fitkit.capture.closed_surface import mesh_of_grid
from fitkit.capture.signed_grid import SignedGrid
from fitkit.geometry.arrays import Bools, Bytes, Floats
from tests.capture.plain_ball import ball_cameras

__all__ = [
    "BEAM_MM",
    "CELL_MM",
    "GAP",
    "LOW",
    "in_spot",
    "known_points",
    "trestle",
    "trestle_pictures",
]

CELL_MM = 5.0
LOW = np.array([-110.0, -50.0, -90.0])
POST_MM, _RADIUS_MM, _HALF_MM = 45.0, 30.0, 75.0
_WEB_MM, BEAM_MM = 12.0, 45.0  # half as thick; the beam's lower side
GAP = np.array([0.0, 0.0, -10.0])


def trestle(*, web: bool) -> SignedGrid:
    axes = [LOW[k] + CELL_MM * np.arange(n) for k, n in enumerate((45, 21, 37))]
    x, y, z = np.meshgrid(*axes, indexing="ij")
    inside = _RADIUS_MM - np.hypot(np.abs(x) - POST_MM, y)
    between = np.minimum(_WEB_MM - np.abs(y), POST_MM - np.abs(x))
    inside = np.maximum(inside, between if web else np.minimum(between, z - BEAM_MM))
    inside = np.minimum(inside, _HALF_MM - np.abs(z))
    return SignedGrid(inside.astype(np.float32), LOW, CELL_MM)


def known_points() -> Floats:
    """(N, 3) float mm: what stereo knows, the posts where they face away from the gap."""
    turn, height = np.meshgrid(np.linspace(-2.0, 2.0, 60), np.arange(-74.0, 75.0, 4.0))
    x = POST_MM + _RADIUS_MM * np.cos(turn.ravel())
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
    return np.vstack([one, one * [-1.0, 1.0, 1.0]])


@cache
def trestle_pictures(web: bool, stain: bool = False) -> tuple[Bytes, ...]:
    """Return grey-green posts before a brown wall, in which the web shows or does not.

    A stain, as brown as the wall, covers a spot of one post.
    """
    mesh = mesh_of_grid(trestle(web=web))
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
        hit &= ~in_spot(met)
    hit = hit.reshape(x.shape)
    rng = np.random.default_rng(seed)
    colour = np.where(hit[..., None], [110.0, 130.0, 120.0], [120.0, 90.0, 70.0])
    return np.clip(colour + rng.normal(0.0, 8.0, (*x.shape, 3)), 0, 255).astype(np.uint8)


def in_spot(points_mm: Floats) -> Bools:
    aside = np.abs(points_mm - [POST_MM, -_RADIUS_MM, 0.0])
    return np.asarray((aside < [14.0, 20.0, 20.0]).all(axis=-1))
