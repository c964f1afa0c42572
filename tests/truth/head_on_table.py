"""A head-size form on a table with marker sheets round it: the small subject of the tests.

The form is turned like a head block: 155 mm across at its widest, 158 mm deep, 245 mm high with a
neck, a brow, a nose-like ridge in front (-y) and a flat base on the table, z = 0.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from scipy.interpolate import PchipInterpolator

from fitkit.capture.camera import Camera
from fitkit.capture.marker_sheet import marker_sheet
from fitkit.capture.photo import Photo
from fitkit.geometry.arrays import Bytes
from fitkit.geometry.mesh import TriangleMesh
from tests.truth.camera_walk import camera_at, phone_lens
from tests.truth.mannequin import turned_solid
from tests.truth.solids import sphere
from tests.truth.studio import Part, PlacedSheet, Scene, render_photo
from tests.truth.texture import Material
from tests.truth.workshop import bare_room

__all__ = ["HeadScene", "head_form", "head_photos", "head_scene"]

_TABLE_MM = 740.0
# height and radius of the turned form
_PROFILE = (
    (0.0, 62.0),
    (12.0, 64.0),
    (45.0, 52.0),
    (75.0, 55.0),
    (110.0, 71.0),
    (150.0, 77.0),
    (190.0, 72.0),
    (225.0, 49.0),
    (240.0, 22.0),
    (245.0, 4.0),
)


@dataclass(frozen=True, slots=True, eq=False)
class HeadScene:
    """Photos as taken, (H, W, 3) uint8 RGB each, and as read, with all that is true about them."""

    pictures: tuple[Bytes, ...]
    photos: tuple[Photo, ...]
    cameras: tuple[Camera, ...]
    sheets: tuple[PlacedSheet, ...]
    mesh: TriangleMesh


@cache
def head_form() -> TriangleMesh:
    """Return the form, closed, standing on z = 0 and facing -y."""
    heights, radii = np.array(_PROFILE).T
    curve = PchipInterpolator(heights, radii)
    z = np.concatenate([np.linspace(0.0, 230.0, 116), np.linspace(231.0, 244.9, 20)])
    mesh = turned_solid(list(zip(curve(z).tolist(), z.tolist(), strict=True)), sides=200)
    x, y, up = mesh.vertices.T
    front = np.clip(-y / 77.0, 0.0, 1.0)
    # A ridge 14 mm high down the middle of the face, and two shallow hollows beside it.
    ridge = 14.0 * np.exp(-((x / 11.0) ** 2) - ((up - 130.0) / 24.0) ** 2) * front**2
    hollow = -5.0 * np.exp(-(((np.abs(x) - 30.0) / 13.0) ** 2) - ((up - 152.0) / 14.0) ** 2) * front
    moved = np.stack([x, 1.02 * y - ridge - hollow, up], axis=1)
    return mesh.with_vertices(moved)


@cache
def head_scene() -> tuple[Scene, tuple[PlacedSheet, ...]]:
    """Return the form on a table 740 mm high in a bare room, four sheets round it."""
    # Near the form, and whole in every photo that the form does not hide them from.
    places = ((0.0, -256.0, 180.0), (258.0, 4.0, -4.0), (-6.0, 258.0, 94.0), (-259.0, -3.0, 2.0))
    sheets = [
        PlacedSheet.on_floor(
            marker_sheet("A4", k + 1), x_mm=x, y_mm=y, turn_rad=float(np.radians(turn))
        )
        for k, (x, y, turn) in enumerate(places)
    ]
    top = sphere(1.0, 0.1)
    room = []
    for part in bare_room():
        lowered = part.mesh.with_vertices(part.mesh.vertices - np.array([0.0, 0.0, _TABLE_MM]))
        # Boards carry the sheets; what lies on the room's floor would be printed on it too.
        material = Material.WOOD if part.material is Material.BOARDS else part.material
        room.append(Part(lowered, material))
    table = top.with_vertices(np.clip(top.vertices * 3.0, -1.0, 1.0) * [620.0, 620.0, 15.0])
    table = table.with_vertices(table.vertices - np.array([0.0, 0.0, 15.0]))
    parts = (Part(head_form(), Material.COVERING), Part(table, Material.BOARDS), *room)
    return Scene(parts, tuple(sheets), light_samples=9, room_samples=32), tuple(sheets)


@cache
def head_photos(count: int = 16, *, height_px: int = 600, seed: int = 5) -> HeadScene:
    """Take photos all round at two heights by turns, about 0.8 m away."""
    scene, sheets = head_scene()
    lens = phone_lens(height_px * 3 // 4, height_px)
    rng = np.random.default_rng(seed)
    cameras, pictures, photos = [], [], []
    for k in range(count):
        azimuth = np.radians(-90.0 + 360.0 * k / count) + rng.normal(0.0, 0.01)
        height, reach = ((360.0, 760.0), (600.0, 600.0))[k % 2]
        centre = np.array([reach * np.cos(azimuth), reach * np.sin(azimuth), height])
        camera = camera_at(
            f"head_{k + 1:02d}.jpg",
            lens,
            centre_mm=centre + rng.normal(0.0, 8.0, 3),
            target_mm=np.array([0.0, 0.0, 70.0]) + rng.normal(0.0, 6.0, 3),
            roll_rad=float(rng.normal(0.0, 0.02)),
        )
        rgb = render_photo(scene, camera, seed=seed * 1000 + k)
        pictures.append(rgb)
        grey = np.asarray(np.round(rgb @ [0.299, 0.587, 0.114]), dtype=np.uint8)
        cameras.append(camera)
        photos.append(Photo(camera.photo, grey, 1456.0 * height_px / 2016.0, True, "phone"))
    return HeadScene(tuple(pictures), tuple(photos), tuple(cameras), sheets, head_form())
