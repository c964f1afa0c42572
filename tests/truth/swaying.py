"""A wearer who sways: the same studio, with the body leaning a little in every photo.

The floor, the sheets and the room stay; the body turns as one piece about the point of the
floor below it, as a standing person leans about the ankles. A photo of the moved body is
the photo a counter-moved camera takes of the still one, laid over the photo of the room.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import cv2
import numpy as np
import open3d
from scipy.spatial.transform import Rotation

from fitkit.capture.camera import Camera
from fitkit.geometry.arrays import Bytes, Floats
from fitkit.geometry.rigid import RigidTransform
from tests.truth.studio import Scene, ray_directions, render_photo

__all__ = ["body_camera", "laid_over", "leanings", "swaying_photo"]

o3d: Any = open3d  # its stubs know no arrays


def leanings(
    count: int,
    *,
    rms_mm: float = 6.0,
    height_mm: float = 1450.0,
    yaw_rms_rad: float = 0.004,
    seed: int = 5,
) -> tuple[RigidTransform, ...]:
    """Return ``floor_from_body`` of each photo: leaning about the floor, and a little yaw.

    Parameters
    ----------
    count
        How many photos.
    rms_mm, height_mm
        Root mean square distance that a point on the axis at this height moves.
    yaw_rms_rad
        Of the turn about the upright axis.
    seed
        Of the leanings.
    """
    rng = np.random.default_rng(seed)
    turns = rng.normal(0.0, 1.0, (count, 3))
    turns -= turns.mean(axis=0)
    turns[:, :2] *= rms_mm / height_mm / np.sqrt((turns[:, :2] ** 2).sum(axis=1).mean())
    turns[:, 2] *= yaw_rms_rad / np.sqrt((turns[:, 2] ** 2).mean())
    return tuple(RigidTransform(Rotation.from_rotvec(t).as_matrix(), np.zeros(3)) for t in turns)


def body_camera(camera: Camera, floor_from_body: RigidTransform) -> Camera:
    """Return where the camera stood as the body feels it."""
    return Camera(camera.photo, camera.lens, camera.camera_from_world @ floor_from_body)


def laid_over(body: Bytes, room: Bytes, cover: Floats) -> Bytes:
    """Return the room's photo with the body's laid over it where ``cover`` (H, W) is 1."""
    if body.ndim == 3:
        cover = cover[:, :, None]
    mixed: Bytes = np.rint(cover * body + (1.0 - cover) * room).astype(np.uint8)
    return mixed


def cover_of(
    camera: Camera, is_body: Callable[[Floats, Floats], Any], *, samples: int = 2
) -> Floats:
    """(H, W) float 0..1: share of each pixel in which the body is seen, as soft as the lens."""
    lens = camera.lens
    across = (np.arange(lens.width_px * samples) + 0.5) / samples - 0.5
    down = (np.arange(lens.height_px * samples) + 0.5) / samples - 0.5
    u, v = np.meshgrid(across, down)
    ways = ray_directions(lens, np.stack([u.ravel(), v.ravel()], axis=1))
    world_from_camera = camera.camera_from_world.inverse()
    seen = is_body(world_from_camera.translation_mm, world_from_camera.turn(ways))
    fine = np.asarray(seen, dtype=np.float32).reshape(u.shape)
    soft = cv2.GaussianBlur(fine, (0, 0), 0.5 * samples)
    shape = (lens.width_px, lens.height_px)
    return cv2.resize(soft, shape, interpolation=cv2.INTER_AREA).astype(np.float64)


def swaying_photo(
    whole: Scene,
    room: Scene,
    camera: Camera,
    floor_from_body: RigidTransform,
    *,
    body_parts: Sequence[int],
    seed: int,
) -> Bytes:
    """Take one photo of the leaning body in the room, (H, W, 3) uint8 RGB.

    Parameters
    ----------
    whole, room
        The scene with the body standing straight, and the scene without the body.
    camera
        Where it really stood.
    floor_from_body
        How the body leans.
    body_parts
        Which of the parts of ``whole`` lean.
    seed
        Of the noise.
    """
    moved = body_camera(camera, floor_from_body)

    def is_body(origin: Floats, ways: Floats) -> Any:
        rays = np.hstack([np.broadcast_to(origin, ways.shape), ways]).astype(np.float32)
        hit = whole.caster.cast_rays(o3d.core.Tensor(rays))["primitive_ids"].numpy()
        some = hit < len(whole.face_part)
        seen = np.zeros(len(ways), dtype=np.bool_)
        seen[some] = np.isin(whole.face_part[hit[some]], body_parts)
        return seen

    body = render_photo(whole, moved, seed=seed)
    behind = render_photo(room, camera, seed=seed)
    return laid_over(body, behind, cover_of(moved, is_body))
