"""The synthetic studio: photos of a scene whose every measure is known, as a phone would take them.

Geometry is exact: each sub-pixel's ray goes through the lens model of
:class:`fitkit.capture.camera.Lens` and meets the meshes where it meets them. Light is
worked out once per vertex (a window and a lamp as soft sources, plus what the room sends
back into corners), so a photo costs only its first rays.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from typing import Any

import cv2
import numba
import numpy as np
import open3d
from numpy.typing import NDArray
from PIL import Image

from fitkit.capture.camera import Camera, Lens
from fitkit.capture.marker_sheet import MarkerSheet
from fitkit.geometry.arrays import Bytes, Floats, Ints
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.rigid import RigidTransform
from tests.truth.sheet_print import CELLS_PER_MM, printed_sheet
from tests.truth.texture import Looks, Material, colours

__all__ = ["Look", "Part", "PlacedSheet", "Scene", "photo_jpeg", "ray_directions", "render_photo"]

_config: Any = numba.config
o3d: Any = open3d  # its stubs know no arrays
# OpenMP first: numba warns about, and then skips, the TBB library that Open3D brings along.
_config.THREADING_LAYER_PRIORITY = ["omp", "tbb", "workqueue"]
_THREADS = 2
_CHUNK = 1 << 20
_ROOM = (Material.BOARDS, Material.PLASTER, Material.BRICK)
_WHITE_WINDOW = np.array([1.00, 1.02, 1.06])
_WHITE_LAMP = np.array([1.08, 1.00, 0.88])
_WHITE_ROOM = np.array([1.02, 1.00, 0.95])


# a window high on the wearer's front left, a strip lamp overhead, a dim lamp behind:
# corner, two edges, power, white
_LAMPS = (
    ((2700.0, -2600.0, 1300.0), (0.0, 1900.0, 0.0), (0.0, 0.0, 1100.0), 0.62, _WHITE_WINDOW),
    ((-900.0, -700.0, 2650.0), (1800.0, 0.0, 0.0), (0.0, 900.0, 0.0), 0.50, _WHITE_LAMP),
    ((-2500.0, 900.0, 2300.0), (600.0, 900.0, 0.0), (0.0, 0.0, 300.0), 0.34, _WHITE_LAMP),
)
# how bright a lamp of power 1 looks in a mirror, beside white paper in the open
_LAMP_BRIGHTNESS = 9.0


@dataclass(frozen=True, slots=True, eq=False)
class Look:
    """How one part differs from its material as such.

    Attributes
    ----------
    shift_mm
        How far the solid pattern is moved: another cut from the same cloth.
    contrast
        Of the covering's print; 1 as it is.
    gloss
        Share of the light a lacquer mirrors straight on; 0 is matt.
    cap_above_mm
        Height above which the neck is a wooden cap.
    crosses
        (K, 12) float: middle mm and three unit axes, the last outward, of crosses of tape.
    """

    shift_mm: tuple[float, float, float] = (0.0, 0.0, 0.0)
    contrast: float = 1.0
    gloss: float = 0.0
    cap_above_mm: float = np.inf
    crosses: Floats = field(default_factory=lambda: np.zeros((0, 12)))


@dataclass(frozen=True, slots=True, eq=False)
class Part:
    """One thing in the scene: closed or open mesh in mm and what it is made of."""

    mesh: TriangleMesh
    material: Material
    look: Look = field(default_factory=Look)


@dataclass(frozen=True, slots=True, eq=False)
class PlacedSheet:
    """A marker sheet lying on the floor, z = 0, printed side up."""

    sheet: MarkerSheet
    world_from_sheet: RigidTransform

    @classmethod
    def on_floor(
        cls, sheet: MarkerSheet, *, x_mm: float, y_mm: float, turn_rad: float
    ) -> PlacedSheet:
        """Lay a sheet down; ``turn_rad`` is the direction of its own x axis from world x."""
        c, s = np.cos(turn_rad), np.sin(turn_rad)
        turn = np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
        return cls(sheet, RigidTransform(turn, np.array([x_mm, y_mm, 0.0])))


@dataclass(frozen=True, eq=False)
class Scene:
    """Parts and sheets, with the light that falls on them.

    Attributes
    ----------
    parts
        Anything but the sheets; those of :attr:`Material.BOARDS` carry the sheets.
    sheets
        On the floor.
    light_samples, room_samples
        How finely lamps and surroundings are sampled for the soft shadows.
    """

    parts: tuple[Part, ...]
    sheets: tuple[PlacedSheet, ...]
    light_samples: int = 36
    room_samples: int = 96

    @cached_property
    def vertices(self) -> NDArray[np.float32]:
        """(V, 3) float32 mm: all vertices of all parts."""
        return np.vstack([p.mesh.vertices for p in self.parts]).astype(np.float32)

    @cached_property
    def faces(self) -> Ints:
        """(F, 3) int into :attr:`vertices`."""
        starts = np.cumsum([0, *(len(p.mesh.vertices) for p in self.parts)])
        return np.vstack([p.mesh.faces + s for p, s in zip(self.parts, starts, strict=False)])

    @cached_property
    def face_part(self) -> NDArray[np.int32]:
        """(F,) int32: the part each face belongs to."""
        counts = [len(p.mesh.faces) for p in self.parts]
        return np.repeat(np.arange(len(counts), dtype=np.int32), counts)

    @cached_property
    def caster(self) -> Any:
        """Open3D's ray caster over all faces as one geometry."""
        caster = o3d.t.geometry.RaycastingScene(nthreads=_THREADS)
        caster.add_triangles(self.vertices, self.faces.astype(np.uint32))
        return caster

    @cached_property
    def vertex_normal(self) -> NDArray[np.float32]:
        """(V, 3) float32: unit, outward."""
        return np.vstack([p.mesh.vertex_normals() for p in self.parts]).astype(np.float32)

    @cached_property
    def looks(self) -> Looks:
        """What the parts look like, as the renderer wants it."""
        looks = [p.look for p in self.parts]
        crosses = [np.insert(one.crosses, 0, k, axis=1) for k, one in enumerate(looks)]
        lamps = [
            [*corner, *edge_a, *edge_b, *(_LAMP_BRIGHTNESS * power * white)]
            for corner, edge_a, edge_b, power, white in _LAMPS
        ]
        return Looks(
            np.array([int(p.material) for p in self.parts], dtype=np.int32),
            np.array([one.shift_mm for one in looks], dtype=np.float32),
            np.array([one.contrast for one in looks], dtype=np.float32),
            np.array([one.gloss for one in looks], dtype=np.float32),
            np.array([one.cap_above_mm for one in looks], dtype=np.float32),
            np.vstack(crosses).astype(np.float32),
            np.array(lamps, dtype=np.float32),
        )

    @cached_property
    def vertex_light(self) -> NDArray[np.float32]:
        """(V, 3) float32: light falling on each vertex, about 1 in the open."""
        normals = self.vertex_normal
        start = self.vertices + 1.5 * normals
        # the edges of floor and walls lie in each other's planes: look from a little further in
        room = np.repeat(
            [p.material in _ROOM for p in self.parts], [len(p.mesh.vertices) for p in self.parts]
        )
        start[room] *= np.float32(0.997)
        light = np.zeros((len(start), 3))
        rng = np.random.default_rng(11)
        for corner, edge_a, edge_b, power, white in _LAMPS:
            side = int(np.sqrt(self.light_samples))
            grid = np.stack(np.meshgrid(np.arange(side), np.arange(side)), -1).reshape(-1, 2)
            spots = (grid + rng.random(grid.shape)) / side
            places = np.array(corner) + spots @ np.array([edge_a, edge_b])
            total = np.zeros(len(start))
            for place in places:
                towards = place.astype(np.float32) - start
                distance = np.linalg.norm(towards, axis=1)
                cosine = (towards * normals).sum(axis=1) / distance
                lit = np.flatnonzero(cosine > 0)
                rays = np.hstack([start[lit], towards[lit] * np.float32(0.985)])
                hidden = self.caster.test_occlusions(
                    o3d.core.Tensor(rays), tnear=0.0, tfar=1.0, nthreads=_THREADS
                ).numpy()
                # softened inverse square: photos of rooms are flatter than bare lamps make them
                fall = (2600.0 / (distance[lit] + 600.0)) ** 1.2
                total[lit] += np.where(hidden, 0.0, cosine[lit] * fall)
            light += power * np.outer(total / len(places), white)
        light += 0.40 * np.outer(self._openness(start, normals), _WHITE_ROOM)
        return light.astype(np.float32)

    def _openness(self, start: NDArray[np.float32], normals: NDArray[np.float32]) -> Floats:
        """(V,) float 0..1: how much of the room each point sees, near things counting as dark."""
        k = np.arange(self.room_samples) + 0.5
        height = 1 - 2 * k / self.room_samples
        turn = np.pi * (1 + 5**0.5) * k
        flat = np.sqrt(1 - height**2)
        ways = np.stack([flat * np.cos(turn), flat * np.sin(turn), height], axis=1)
        seen, weight = np.zeros(len(start)), np.zeros(len(start))
        for way in ways.astype(np.float32):
            cosine = normals @ way
            lit = np.flatnonzero(cosine > 0.02)
            rays = np.hstack([start[lit], np.broadcast_to(way, (len(lit), 3))])
            hit = self.caster.cast_rays(o3d.core.Tensor(rays), nthreads=_THREADS)
            distance = np.minimum(hit["t_hit"].numpy(), 900.0)
            seen[lit] += cosine[lit] * (0.2 + 0.8 * (distance / 900.0) ** 0.6)
            weight[lit] += cosine[lit]
        return seen / np.maximum(weight, 1e-9)


def ray_directions(lens: Lens, pixels: Floats) -> Floats:
    """(N, 3) float, z = 1: directions in the camera frame of (N, 2) pixels.

    Inverts :meth:`Lens.project` and checks that it did, to 1e-4 px.

    Raises
    ------
    ValueError
        When the lens folds over within the picture.
    """
    ways = _undistorted(
        np.ascontiguousarray(pixels, dtype=np.float64),
        np.array([lens.focal_px, lens.centre_x_px, lens.centre_y_px, *lens.distortion()]),
    )
    sample = slice(None, None, max(1, len(ways) // 4096))
    if np.abs(lens.project(ways[sample]) - pixels[sample]).max() > 1e-4:
        raise ValueError("The lens cannot be inverted over this picture.")
    return ways


@numba.njit(parallel=True, cache=True)
def _undistorted(pixels: Floats, lens: Floats) -> Floats:
    """(N, 3): fixed-point inverse of the distortion, which contracts for phone lenses."""
    ways = np.empty((len(pixels), 3))
    k1, k2, p1, p2 = lens[3], lens[4], lens[5], lens[6]
    for n in numba.prange(len(pixels)):
        u, v = (pixels[n, 0] - lens[1]) / lens[0], (pixels[n, 1] - lens[2]) / lens[0]
        x, y = u, v
        for _ in range(20):
            r2 = x * x + y * y
            radial = 1.0 + k1 * r2 + k2 * r2 * r2
            dx = 2.0 * p1 * x * y + p2 * (r2 + 2.0 * x * x)
            dy = p1 * (r2 + 2.0 * y * y) + 2.0 * p2 * x * y
            xn, yn = (u - dx) / radial, (v - dy) / radial
            moved = abs(xn - x) + abs(yn - y)
            x, y = xn, yn
            if moved < 1e-10:
                break
        ways[n, 0], ways[n, 1], ways[n, 2] = x, y, 1.0
    return ways


@lru_cache(maxsize=1)
def _sub_pixel_ways(lens: Lens, supersampling: int) -> Floats:
    """(H * s, W * s, 2) float: x and y of the directions through the middles of all sub-pixels.

    A walk's photos share their lens.
    """
    s = supersampling
    columns = (np.arange(lens.width_px * s) + 0.5) / s - 0.5
    lines = (np.arange(lens.height_px * s) + 0.5) / s - 0.5
    ways = np.empty((len(lines), len(columns), 2))
    band = max(1, _CHUNK // len(columns))
    for top in range(0, len(lines), band):
        u, v = np.meshgrid(columns, lines[top : top + band])
        found = ray_directions(lens, np.stack([u.ravel(), v.ravel()], axis=1))
        ways[top : top + band] = found[:, :2].reshape(-1, len(columns), 2)
    return ways


@numba.njit(parallel=True, cache=True)
def _turned(ways: Floats, rotation: Floats, rays: NDArray[np.float32]) -> None:
    """Write the directions (x, y, 1), turned, into the last three columns of the rays."""
    for n in numba.prange(len(ways)):
        x, y = ways[n, 0], ways[n, 1]
        for k in range(3):
            rays[n, 3 + k] = rotation[k, 0] * x + rotation[k, 1] * y + rotation[k, 2]


def _linear_picture(scene: Scene, camera: Camera, supersampling: int) -> NDArray[np.float32]:
    """(H * s, W * s, 3) float32: light arriving at each sub-pixel."""
    lens, s = camera.lens, supersampling
    ways = _sub_pixel_ways(lens, s)
    high, wide = ways.shape[:2]
    poses = [p.world_from_sheet for p in scene.sheets]
    sheet_pose = np.array(
        [[*p.translation_mm[:2], *p.rotation[:2, 0]] for p in poses], dtype=np.float32
    ).reshape(-1, 4)
    prints = [printed_sheet(p.sheet) for p in scene.sheets]
    rows_max = max((p.shape[0] for p in prints), default=1)
    columns_max = max((p.shape[1] for p in prints), default=1)
    raster = np.full((len(prints), rows_max, columns_max), 255, dtype=np.uint8)
    half = np.zeros((len(prints), 2), dtype=np.float32)
    for k, printed in enumerate(prints):
        raster[k, : printed.shape[0], : printed.shape[1]] = printed
        half[k] = np.array(printed.shape[::-1]) / (2.0 * CELLS_PER_MM)
    light, face_part = scene.vertex_light, scene.face_part
    faces = scene.faces.astype(np.int32)
    world_from_camera = camera.camera_from_world.inverse()
    centre = world_from_camera.translation_mm.astype(np.float32)
    picture = np.empty((high, wide, 3), dtype=np.float32)
    band = max(1, _CHUNK // wide)
    for top in range(0, high, band):
        part = ways[top : top + band].reshape(-1, 2)
        rays = np.empty((len(part), 6), dtype=np.float32)
        rays[:, :3] = centre
        _turned(part, world_from_camera.rotation, rays)
        hit = scene.caster.cast_rays(o3d.core.Tensor(rays), nthreads=_THREADS)
        out = np.empty((len(rays), 3), dtype=np.float32)
        colours(
            centre,
            rays[:, 3:],
            hit["t_hit"].numpy(),
            hit["primitive_ids"].numpy(),
            hit["primitive_uvs"].numpy(),
            faces,
            light,
            scene.vertex_normal,
            face_part,
            scene.looks,
            sheet_pose,
            half,
            raster,
            float(CELLS_PER_MM),
            out,
        )
        picture[top : top + band] = out.reshape(-1, wide, 3)
    return picture


def render_photo(
    scene: Scene,
    camera: Camera,
    *,
    seed: int,
    supersampling: int = 2,
    exposure: float = 1.0,
    noise_grey: float = 1.3,
    blur_px: float = 0.5,
    vignetting: float = 0.10,
) -> Bytes:
    """Take one photo of the scene.

    Parameters
    ----------
    seed
        Of the sensor noise only.
    supersampling
        Rays per pixel along each side.
    exposure
        Factor on the light.
    noise_grey
        Standard deviation of the noise in mid grey, in grey levels of 255.
    blur_px
        Standard deviation of the lens blur.
    vignetting
        Share of the light lost in the corners.

    Returns
    -------
    Bytes
        (H, W, 3) uint8 RGB.
    """
    lens = camera.lens
    fine = _linear_picture(scene, camera, supersampling)
    if blur_px > 0:
        cv2.GaussianBlur(fine, (0, 0), blur_px * supersampling, dst=fine)
    picture = cv2.resize(fine, (lens.width_px, lens.height_px), interpolation=cv2.INTER_AREA)
    u, v = np.meshgrid(np.arange(lens.width_px), np.arange(lens.height_px))
    off = np.hypot(u - lens.centre_x_px, v - lens.centre_y_px)
    shade = 1.0 - vignetting * (off / np.hypot(lens.width_px / 2, lens.height_px / 2)) ** 2
    rng = np.random.default_rng(seed)
    grain = rng.normal(0.0, noise_grey, (lens.height_px, lens.width_px))
    tint = rng.normal(0.0, 0.4 * noise_grey, picture.shape)
    return _developed(picture, exposure * shade, grain, tint)


@numba.njit(parallel=True, cache=True)
def _developed(
    picture: NDArray[np.float32], exposure: Floats, grain: Floats, tint: Floats
) -> NDArray[np.uint8]:
    """(H, W, 3) uint8: light by a phone's tone curve, with its noise.

    Encoded as for a screen, shoulders rolled off so that paper keeps detail.
    """
    grey = np.empty(picture.shape, np.uint8)
    for row in numba.prange(picture.shape[0]):
        for column in range(picture.shape[1]):
            for k in range(3):
                value = max(picture[row, column, k] * exposure[row, column], 0.0)
                value = value / (1.0 + 0.28 * value * value)
                tone = min(value, 1.0) ** (1 / 2.2)
                tone += 0.05 * np.sin(2 * np.pi * (tone - 0.5)) * tone * (1 - tone) * 4
                noise = (grain[row, column] + tint[row, column, k]) * (0.55 + 0.9 * (1 - tone))
                grey[row, column, k] = np.uint8(min(max(tone * 255.0 + noise + 0.5, 0.0), 255.0))
    return grey


def photo_jpeg(
    rgb: Bytes, *, focal_35mm: int, taken: str = "2025:05:17 10:00:00", quality: int = 88
) -> bytes:
    """Return the photo as a JPEG file with a phone's EXIF and no position.

    Parameters
    ----------
    focal_35mm
        The rounded 35 mm equivalent that phones write.
    taken
        ``YYYY:MM:DD HH:MM:SS``.
    """
    exif = Image.Exif()
    exif[0x010F], exif[0x0110], exif[0x0112], exif[0x0132] = "Heron", "Studio 26", 1, taken
    details = exif.get_ifd(0x8769)
    details[0x9003], details[0xA405] = taken, focal_35mm
    stream = io.BytesIO()
    Image.fromarray(rgb).save(stream, "JPEG", quality=quality, subsampling=2, exif=exif)
    return stream.getvalue()


def sheet_poses(sheets: Sequence[PlacedSheet]) -> dict[int, RigidTransform]:
    """Return ``world_from_sheet`` by tag id."""
    return {p.sheet.tag_id: p.world_from_sheet for p in sheets}
