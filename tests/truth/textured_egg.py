"""A patterned egg on a pole over a patterned floor: the small scene of the dense step's tests.

The egg is x²/a² + y²/b² = (1 − t²)(1 + k t)² with t = (z − centre)/h, so its volume between
two heights is the integral of a polynomial.  Photos are ray-cast with Open3D from known
cameras; the pattern is a sum of smooth 3-D noises fixed by a seed.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
import open3d as o3d
from scipy.ndimage import map_coordinates

from fitkit.capture.camera import Camera, Lens
from fitkit.capture.photo import Photo
from fitkit.capture.scan import CaptureVolume, SolvedCameras
from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.rigid import RigidTransform

HALF_X_MM, HALF_Y_MM, HALF_Z_MM = 150.0, 120.0, 260.0
CENTRE_Z_MM, TAPER = 900.0, -0.12
BOTTOM_MM = 740.0
VOLUME = CaptureVolume(0.0, 0.0, 350.0, BOTTOM_MM, 1400.0)


@dataclass(frozen=True, slots=True, eq=False)
class EggScene:
    photos: tuple[Photo, ...]
    solved: SolvedCameras


def egg_volume_mm3(bottom_mm: float) -> float:
    """Return the egg's volume above a height, in closed form."""
    section = np.polynomial.Polynomial([1.0, 0.0, -1.0])
    taper = np.polynomial.Polynomial([1.0, TAPER])
    integral = (section * taper * taper).integ()
    low = (bottom_mm - CENTRE_Z_MM) / HALF_Z_MM
    return float(np.pi * HALF_X_MM * HALF_Y_MM * HALF_Z_MM * (integral(1.0) - integral(low)))


@cache
def egg_mesh() -> TriangleMesh:
    """Return the whole egg, closed and wound outward."""
    rings, sides = 240, 360
    t = -np.cos(np.linspace(0.0, np.pi, rings + 1)[1:-1])
    angle = np.linspace(0.0, 2 * np.pi, sides, endpoint=False)
    width = np.sqrt(1.0 - t * t) * (1.0 + TAPER * t)
    grid = np.stack(
        [
            HALF_X_MM * width[:, None] * np.cos(angle),
            HALF_Y_MM * width[:, None] * np.sin(angle),
            np.broadcast_to(CENTRE_Z_MM + HALF_Z_MM * t[:, None], (rings - 1, sides)),
        ],
        axis=2,
    )
    poles = [[0.0, 0.0, CENTRE_Z_MM - HALF_Z_MM], [0.0, 0.0, CENTRE_Z_MM + HALF_Z_MM]]
    vertices = np.vstack([grid.reshape(-1, 3), poles])
    here = np.arange((rings - 1) * sides).reshape(rings - 1, sides)
    aside = np.roll(here, -1, axis=1)
    low, low_aside = here[:-1].ravel(), aside[:-1].ravel()
    high, high_aside = here[1:].ravel(), aside[1:].ravel()
    bottom, top = len(vertices) - 2, len(vertices) - 1
    faces = np.vstack(
        [
            np.stack([low, low_aside, high_aside], axis=1),
            np.stack([low, high_aside, high], axis=1),
            np.stack([aside[0], here[0], np.full(sides, bottom)], axis=1),
            np.stack([here[-1], aside[-1], np.full(sides, top)], axis=1),
        ]
    )
    return TriangleMesh(vertices, faces)


def camera_at(
    name: str, centre_mm: Floats, target_mm: Floats, *, lens: Lens, roll_rad: float = 0.0
) -> Camera:
    """Return an upright camera at a place, looking at a point."""
    forward = (target_mm - centre_mm) / np.linalg.norm(target_mm - centre_mm)
    right = np.cross(forward, [0.0, 0.0, 1.0])
    right /= np.linalg.norm(right)
    rotation = np.stack([right, np.cross(forward, right), forward])
    cosine, sine = np.cos(roll_rad), np.sin(roll_rad)
    rotation = np.array([[cosine, -sine, 0.0], [sine, cosine, 0.0], [0.0, 0.0, 1.0]]) @ rotation
    return Camera(name, lens, RigidTransform(rotation, -rotation @ centre_mm))


def egg_cameras(count: int = 18) -> tuple[Camera, ...]:
    """Return one ring of cameras round the egg, a little above it, with a distorting lens."""
    lens = Lens(408, 544, 680.0, 205.5, 270.0, k1=0.05, k2=-0.04, p1=3e-4, p2=-2e-4)
    rng = np.random.default_rng(3)
    cameras = []
    for index in range(count):
        azimuth = 2 * np.pi * index / count
        distance = 1000.0 + rng.normal(0, 15)
        centre = np.array(
            [distance * np.cos(azimuth), distance * np.sin(azimuth), 1120.0 + rng.normal(0, 20)]
        )
        target = np.array([0.0, 0.0, CENTRE_Z_MM]) + rng.normal(0, 15, 3)
        cameras.append(
            camera_at(
                f"egg_{index:02d}.jpg", centre, target, lens=lens, roll_rad=rng.normal(0, 0.03)
            )
        )
    return tuple(cameras)


@cache
def _lattice(seed: int) -> Floats:
    return np.random.default_rng(seed).random((48, 48, 48))


def _noise(points_mm: Floats, wavelength_mm: float, seed: int) -> Floats:
    place = (points_mm / wavelength_mm).T
    values: Floats = map_coordinates(_lattice(seed), place, order=1, mode="grid-wrap")
    return values - 0.5


@cache
def _surroundings() -> o3d.t.geometry.RaycastingScene:
    scene = o3d.t.geometry.RaycastingScene()

    def add(vertices: Floats, faces: np.ndarray) -> None:
        scene.add_triangles(
            o3d.core.Tensor(np.asarray(vertices, dtype=np.float32)),
            o3d.core.Tensor(np.asarray(faces, dtype=np.uint32)),
        )

    egg = egg_mesh()
    add(egg.vertices, egg.faces)
    pole = o3d.geometry.TriangleMesh.create_cylinder(18.0, 700.0)
    pole.translate((0.0, 0.0, 350.0))
    add(np.asarray(pole.vertices), np.asarray(pole.triangles))
    floor = o3d.geometry.TriangleMesh.create_box(6000.0, 6000.0, 10.0)
    floor.translate((-3000.0, -3000.0, -10.0))
    add(np.asarray(floor.vertices), np.asarray(floor.triangles))
    for x, y in ((-900.0, 500.0), (700.0, -1000.0)):
        box = o3d.geometry.TriangleMesh.create_box(250.0, 250.0, 900.0)
        box.translate((x, y, 0.0))
        add(np.asarray(box.vertices), np.asarray(box.triangles))
    return scene


def render(camera: Camera, *, contrast: float = 1.0, seed: int = 0, samples: int = 1) -> np.ndarray:
    """Return the (H, W) uint8 photo of the scene a camera takes."""
    lens = camera.lens
    rays = _rays(lens, samples) @ camera.camera_from_world.rotation
    origin = np.broadcast_to(camera.centre_mm(), rays.shape)
    scene = _surroundings()
    hit = scene.cast_rays(o3d.core.Tensor(np.hstack([origin, rays]).astype(np.float32)))
    depth = hit["t_hit"].numpy().astype(np.float64)
    solid = hit["geometry_ids"].numpy()
    normal = hit["primitive_normals"].numpy().astype(np.float64)
    seen = np.isfinite(depth)
    grey = np.full(len(rays), 0.55)
    points = origin[seen] + rays[seen] * depth[seen, None]
    fine = _noise(points, 7.0, seed + 1) + 0.8 * _noise(points, 16.0, seed + 2)
    coarse = _noise(points, 90.0, seed + 3)
    albedo = 0.5 + contrast * (0.4 * fine + 0.25 * coarse) + 0.04 * (solid[seen] % 3)
    light = np.array([0.35, -0.45, 0.82])
    shade = 0.45 + 0.45 * np.abs(normal[seen] @ light)
    grey[seen] = np.clip(albedo * shade, 0.02, 0.98)
    tile = grey.reshape(lens.height_px, samples, lens.width_px, samples).mean(axis=(1, 3))
    noise = np.random.default_rng(seed + 17).normal(0, 1.5, tile.shape)
    return np.clip(np.rint(255 * tile + noise), 0, 255).astype(np.uint8)


@cache
def _rays(lens: Lens, samples: int) -> Floats:
    """Return unit rays in the camera frame; the distortion is undone by fixed-point steps."""
    step = (np.arange(samples) + 0.5) / samples - 0.5
    x = (np.arange(lens.width_px)[:, None] + step).ravel()
    y = (np.arange(lens.height_px)[:, None] + step).ravel()
    pixels = np.stack(np.meshgrid(x, y), axis=2).reshape(-1, 2)
    distorted = (pixels - [lens.centre_x_px, lens.centre_y_px]) / lens.focal_px
    ideal = distorted.copy()
    for _ in range(20):
        image = lens.project(np.column_stack([ideal, np.ones(len(ideal))]))
        image = (image - [lens.centre_x_px, lens.centre_y_px]) / lens.focal_px
        ideal += distorted - image
    rays = np.column_stack([ideal, np.ones(len(ideal))])
    unit: Floats = rays / np.linalg.norm(rays, axis=1, keepdims=True)
    return unit


@cache
def egg_scene(count: int = 18, contrast: float = 1.0) -> EggScene:
    """Return the photos of the egg and the cameras they were taken with."""
    cameras = egg_cameras(count)
    photos = tuple(
        Photo(
            name=camera.photo,
            grey=render(camera, contrast=contrast, seed=7),
            focal_px=camera.lens.focal_px,
            focal_known=True,
            lens_key="egg",
        )
        for camera in cameras
    )
    return EggScene(photos, SolvedCameras(cameras, (), 0.0, 0.0))
