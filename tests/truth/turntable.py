"""An egg on a turning board before a camera that stands still, in a room with tags of its own.

The lamps stay where they are, so shading slides over the egg as it turns.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import open3d
from scipy.spatial.transform import Rotation

from fitkit.capture.camera import Camera
from fitkit.capture.marker_sheet import marker_sheet
from fitkit.geometry.arrays import Bytes, Floats
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.rigid import RigidTransform
from tests.truth.camera_walk import camera_at, phone_lens
from tests.truth.mannequin import turned_solid
from tests.truth.small_scene import egg
from tests.truth.studio import Part, PlacedSheet, Scene, render_photo
from tests.truth.swaying import body_camera, cover_of, laid_over
from tests.truth.texture import Material
from tests.truth.workshop import bare_room

__all__ = ["Turntable", "turntable"]

o3d: Any = open3d  # its stubs know no arrays
_BOARD_MM, _THICK_MM, _LIFT_MM = 420.0, 30.0, 30.0
_LIGHT = {"light_samples": 9, "room_samples": 32}


@dataclass(frozen=True, slots=True, eq=False)
class Turntable:
    """Photos, cameras and egg as the board has them, z = 0 being its top."""

    photos: tuple[Bytes, ...]
    cameras: tuple[Camera, ...]
    mesh: TriangleMesh


def turntable(count: int, *, width_px: int = 504) -> Turntable:
    """Return ``count`` photos over one whole turn, four sheets on the board, three in the room."""
    mesh = egg().with_vertices(egg().vertices - np.array([0.0, 0.0, 120.0]))
    disc = turned_solid([(_BOARD_MM, -_THICK_MM), (_BOARD_MM, 0.0)])
    parts = (Part(mesh, Material.COVERING), Part(disc, Material.BOARDS))
    board = tuple(
        PlacedSheet.on_floor(
            marker_sheet("A4", k + 1),
            x_mm=float(290.0 * np.cos(around)),
            y_mm=float(290.0 * np.sin(around)),
            turn_rad=float(around + np.pi / 2),
        )
        for k, around in enumerate(np.radians([-90.0, 0.0, 90.0, 180.0]))
    )
    in_room = tuple(
        PlacedSheet.on_floor(marker_sheet("A4", 20 + k), x_mm=x, y_mm=y, turn_rad=turn)
        for k, (x, y, turn) in enumerate(
            ((-420.0, 640.0, 0.3), (80.0, 760.0, 2.5), (520.0, 600.0, 4.2))
        )
    )
    camera = camera_at(
        "",
        phone_lens(width_px, width_px * 4 // 3),
        centre_mm=np.array([40.0, -1050.0, 900.0]),
        target_mm=np.array([0.0, 60.0, 250.0]),
        roll_rad=0.02,
    )
    room = render_photo(Scene(bare_room(), in_room, **_LIGHT), camera, seed=1)
    photos, cameras = [], []
    for k in range(count):
        turn = Rotation.from_euler("z", 2 * np.pi * k / count).as_matrix()
        room_from_board = RigidTransform(turn, np.array([0.0, 0.0, _LIFT_MM]))
        scene = Scene(parts, board, **_LIGHT)
        turned = tuple(
            Part(p.mesh.with_vertices(room_from_board.apply(p.mesh.vertices)), p.material)
            for p in parts
        )
        scene.__dict__["vertex_light"] = Scene(turned, (), **_LIGHT).vertex_light
        seen = body_camera(camera, room_from_board)
        picture = render_photo(scene, seen, seed=100 + k)

        def is_board(origin: Floats, ways: Floats, scene: Scene = scene) -> Any:
            rays = np.hstack([np.broadcast_to(origin, ways.shape), ways]).astype(np.float32)
            return np.isfinite(scene.caster.cast_rays(o3d.core.Tensor(rays))["t_hit"].numpy())

        photos.append(laid_over(picture, room, cover_of(seen, is_board)))
        cameras.append(Camera(f"turn_{k + 1:02d}.jpg", seen.lens, seen.camera_from_world))
    return Turntable(tuple(photos), tuple(cameras), mesh)
