"""Small photos of a low scene with known cameras, quick enough for ordinary tests."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from fitkit.capture.camera import Camera
from fitkit.capture.marker_sheet import marker_sheet
from fitkit.geometry.arrays import Bytes
from fitkit.geometry.mesh import TriangleMesh
from tests.truth.camera_walk import camera_at, phone_lens
from tests.truth.mannequin import mannequin, turned_solid
from tests.truth.studio import Part, PlacedSheet, Scene, render_photo
from tests.truth.texture import Material
from tests.truth.workshop import bare_room

__all__ = ["SmallScene", "egg", "low_scene", "small_scene"]

_LOWERED_MM = 600.0


@dataclass(frozen=True, slots=True, eq=False)
class SmallScene:
    """Photos and everything that is true about them.

    Attributes
    ----------
    photos
        (H, W, 3) uint8 RGB each, upright.
    cameras
        One per photo, in its order.
    sheets
        On the floor; sheet 1 lies in front of the subject, which faces -y.
    mesh
        The exact surface of the subject in the world.
    """

    photos: tuple[Bytes, ...]
    cameras: tuple[Camera, ...]
    sheets: tuple[PlacedSheet, ...]
    mesh: TriangleMesh


def egg() -> TriangleMesh:
    """Return an upright egg-like solid of revolution, 330 mm across, 180 to 720 mm high."""
    angle = np.linspace(-np.pi / 2, np.pi / 2, 81)[1:-1]
    radius = 165.0 * np.cos(angle) * (1.0 - 0.16 * np.sin(angle)) / 1.005
    height = 450.0 + 270.0 * np.sin(angle)
    return turned_solid(list(zip(radius.tolist(), height.tolist(), strict=True)), sides=144)


def low_scene(mesh: TriangleMesh) -> Scene:
    """Return a subject in its covering in a bare room, six sheets close round it."""
    turns = (180.0, 215.0, -66.0, 40.0, 15.0, 130.0)
    sheets = []
    for k, turn in enumerate(turns):
        azimuth = np.radians(-90.0 + 360.0 * k / len(turns))
        sheets.append(
            PlacedSheet.on_floor(
                marker_sheet("A4", k + 1),
                x_mm=float(430.0 * np.cos(azimuth)),
                y_mm=float(430.0 * np.sin(azimuth)),
                turn_rad=float(np.radians(turn)),
            )
        )
    parts = (Part(mesh, Material.COVERING), *bare_room())
    return Scene(parts, tuple(sheets), light_samples=9, room_samples=32)


def small_scene(
    subject: Literal["egg", "mannequin"] = "egg",
    *,
    photos: int = 10,
    width_px: int = 504,
    arc_deg: float = 360.0,
    first_deg: float = -90.0,
    seed: int = 7,
) -> SmallScene:
    """Take small photos of a lowered subject in a bare room, at two heights by turns.

    Parameters
    ----------
    subject
        The egg, or the mannequin let down so that it nearly touches the floor; then the
        sheets and the body fill the small frame.
    photos
        How many, evenly over the arc, the heights alternating.
    width_px
        Of the portrait photos, which are 3 to 4.
    arc_deg, first_deg
        How far the walk goes round and where it starts, from +x; -90 looks at the front. For
        stereo take an arc in which neighbours are about 12 degrees apart.
    seed
        Of the hand's unsteadiness and the noise.
    """
    if subject == "egg":
        mesh = egg()
    else:
        mesh = mannequin()
        mesh = mesh.with_vertices(mesh.vertices - np.array([0.0, 0.0, _LOWERED_MM]))
    scene = low_scene(mesh)
    lens = phone_lens(width_px, width_px * 4 // 3)
    rng = np.random.default_rng(seed)
    cameras, pictures = [], []
    step = arc_deg / photos if arc_deg >= 360.0 else arc_deg / max(photos - 1, 1)
    for k in range(photos):
        azimuth = np.radians(first_deg + step * k) + rng.normal(0.0, 0.01)
        height, reach = ((900.0, 1050.0), (1250.0, 950.0))[k % 2]
        height, reach = height + rng.normal(0.0, 15.0), reach + rng.normal(0.0, 15.0)
        centre = np.array([reach * np.cos(azimuth), reach * np.sin(azimuth), height])
        camera = camera_at(
            f"small_{k + 1:02d}.jpg",
            lens,
            centre_mm=centre,
            target_mm=np.array([0.0, 0.0, 330.0]) + rng.normal(0.0, 12.0, 3),
            roll_rad=float(rng.normal(0.0, 0.02)),
        )
        cameras.append(camera)
        pictures.append(render_photo(scene, camera, seed=seed * 1000 + k))
    return SmallScene(tuple(pictures), tuple(cameras), scene.sheets, mesh)
