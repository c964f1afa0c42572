"""A table seen from above: marker sheets and pieces of card lying flat, with known outlines.

Things so thin need no ray tracing: the table is painted as a fine raster, the card as a second
one that floats at its own thickness with its side walls between, and each photo looks both up
through a real lens. Light comes from one side, so the card throws a narrow shadow.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray

from fitkit.capture.camera import Camera, Lens
from fitkit.capture.photo import Photo
from fitkit.geometry.arrays import Bytes, Floats
from tests.truth.camera_walk import camera_at
from tests.truth.sheet_print import CELLS_PER_MM, printed_sheet
from tests.truth.studio import PlacedSheet

Pixels: TypeAlias = NDArray[np.float32]

__all__ = ["CardPiece", "TableScene", "camera_over", "photo_of", "render_table", "table_lens"]

_CELL_MM = 1.0 / CELLS_PER_MM
_PAPER = np.array([0.80, 0.80, 0.79])
_INK = 0.035


@dataclass(frozen=True, slots=True, eq=False)
class CardPiece:
    """A flat piece with its outside up. ``outline_mm`` (N, 2), ``holes_mm`` (M_k, 2) each.

    ``paper_mm`` are areas of white paper stuck on it, as white as its own colour lets them be;
    ``ink_mm`` are areas printed black on it or on them.
    """

    outline_mm: Floats
    holes_mm: tuple[Floats, ...] = ()
    pencil_mm: tuple[Floats, ...] = ()
    thickness_mm: float = 0.5
    colour: tuple[float, float, float] = (0.42, 0.33, 0.22)
    ink_mm: tuple[Floats, ...] = ()
    paper_mm: tuple[Floats, ...] = ()

    def polygon(self) -> shapely.Polygon:
        """Return its area."""
        return shapely.Polygon(self.outline_mm, self.holes_mm)


@dataclass(frozen=True, slots=True, eq=False)
class TableScene:
    """What lies on the table, and how it is lit.

    ``floor`` is the table's own colour as linear light, ``grain`` how much it varies, ``shade``
    how much darker the far end of the table is, ``light_rad`` where the lamp stands, ``half_mm``
    how far the table goes on before its rim is smeared outwards.
    """

    pieces: tuple[CardPiece, ...]
    sheets: tuple[PlacedSheet, ...]
    floor: tuple[float, float, float] = (0.20, 0.22, 0.25)
    grain: float = 0.06
    shade: float = 0.25
    light_rad: float = 0.7
    shadow: float = 0.45
    seed: int = 1
    half_mm: float = 370.0


def table_lens(width_px: int = 1512, height_px: int = 2016) -> Lens:
    """Return a phone's lens with some barrel distortion."""
    scale = max(width_px, height_px) / 2016.0
    return Lens(
        width_px,
        height_px,
        1473.6 * scale,
        (width_px - 1) / 2 + 6.3 * scale,
        (height_px - 1) / 2 - 4.7 * scale,
        k1=0.052,
        k2=-0.061,
    )


def camera_over(
    name: str,
    *,
    tilt_deg: float,
    bearing_deg: float = -90.0,
    distance_mm: float = 700.0,
    at_mm: tuple[float, float] = (0.0, 0.0),
    lens: Lens | None = None,
) -> Camera:
    """Return a camera that looks at a point of the table from a bearing, tilted from above."""
    tilt, bearing = np.radians(max(tilt_deg, 0.1)), np.radians(bearing_deg)
    target = np.array([*at_mm, 0.0])
    out = np.array([np.sin(tilt) * np.cos(bearing), np.sin(tilt) * np.sin(bearing), np.cos(tilt)])
    return camera_at(
        name, lens or table_lens(), centre_mm=target + distance_mm * out, target_mm=target
    )


def photo_of(rgb: Bytes, camera: Camera, *, focal_off: float = 0.012) -> Photo:
    """Return the photo as it is read from its file, its EXIF focal length off by a little."""
    grey = cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY)
    return Photo(
        camera.photo,
        np.asarray(grey, dtype=np.uint8),
        camera.lens.focal_px / (1 + focal_off),
        True,
        f"phone {camera.lens.width_px}x{camera.lens.height_px}",
    )


def render_table(scene: TableScene, camera: Camera, *, noise_grey: float = 1.5) -> Bytes:
    """(H, W, 3) uint8 RGB: one photo of the table."""
    lens = camera.lens
    rng = np.random.default_rng(scene.seed)
    size = round(2 * scene.half_mm / _CELL_MM)
    floor = _floor(scene, size, rng)
    rays = _rays(camera)
    low = _look(camera, rays, 0.0, size)
    light = np.cos(scene.light_rad), np.sin(scene.light_rad)
    tops, walls = [], []
    for piece in scene.pieces:
        mask = _raster(piece, size)
        reach = piece.thickness_mm / _CELL_MM
        # The lamp is wide: a soft shadow as long as the card is thick, and a dark line under it.
        move = np.array([[1, 0, reach * light[0]], [0, 1, -reach * light[1]]], dtype=np.float32)
        thrown = cv2.warpAffine(mask, move, (size, size))
        thrown = cv2.GaussianBlur(thrown, (0, 0), max(0.5 * reach, 0.6))
        near = cv2.GaussianBlur(mask, (0, 0), max(0.8 * reach, 0.6))
        floor *= (1.0 - scene.shadow * np.maximum(thrown, 0.7 * near))[:, :, None]
        heights = [piece.thickness_mm * k / 4 for k in range(1, 5)]
        shown = [_sample(mask, _look(camera, rays, z, size)) for z in heights]
        paint = _sample(_paint(piece, size), _look(camera, rays, heights[-1], size))
        tops.append((shown[-1], np.array(piece.colour, np.float32) * (1 + paint)[:, :, None]))
        walls.append((np.max([_sample(mask, low), *shown], axis=0), 0.6 * np.array(piece.colour)))
    picture = _sample(floor, low)
    for (wall, wall_colour), (top, colour) in zip(walls, tops, strict=True):
        picture = picture * (1 - wall[:, :, None]) + wall[:, :, None] * np.asarray(
            wall_colour, dtype=np.float32
        )
        picture = picture * (1 - top[:, :, None]) + top[:, :, None] * colour
    u, v = np.meshgrid(np.linspace(-1, 1, lens.width_px), np.linspace(-1, 1, lens.height_px))
    shaded = picture * (1 - scene.shade * 0.5 * (1 + v) - 0.08 * (u * u + v * v))[:, :, None]
    blurred = np.asarray(cv2.GaussianBlur(shaded.astype(np.float32), (0, 0), 0.6))
    tone = np.clip(1.1 * blurred, 0, 1) ** (1 / 2.2)
    tone = tone * 255 + rng.normal(0, noise_grey, tone.shape)
    return np.asarray(np.clip(tone + 0.5, 0, 255), dtype=np.uint8)


def _cells(points_mm: Floats, size: int) -> Floats:
    """Return table points as (column, row) of the raster, centres whole."""
    half = 0.5 * size
    return np.column_stack(
        [
            points_mm[:, 0] / _CELL_MM + half - 0.5,
            half - points_mm[:, 1] / _CELL_MM - 0.5,
        ]
    )


def _raster(piece: CardPiece, size: int) -> Pixels:
    """(size, size) float32: share of each cell that the piece covers."""
    rings = [piece.outline_mm, *piece.holes_mm]
    fine = 4
    filled = np.zeros((size, size), dtype=np.float32)
    corner = np.floor(_cells(piece.outline_mm, size).min(axis=0)).astype(int) - 2
    far = np.ceil(_cells(piece.outline_mm, size).max(axis=0)).astype(int) + 3
    wide, high = (far - corner).tolist()
    block = np.zeros((high * fine, wide * fine), dtype=np.uint8)
    drawn = [
        np.round(((_cells(ring, size) - corner + 0.5) * fine - 0.5) * 256).astype(np.int32)
        for ring in rings
    ]
    cv2.fillPoly(block, drawn, 255, lineType=cv2.LINE_8, shift=8)
    small = cv2.resize(block, (wide, high), interpolation=cv2.INTER_AREA)
    filled[corner[1] : far[1], corner[0] : far[0]] = small / 255.0
    return filled


def _paint(piece: CardPiece, size: int) -> Pixels:
    """(size, size): fibres of the card, and what is drawn on it in pencil."""
    rng = np.random.default_rng(7)
    small = rng.normal(0, 1, (size // 8, size // 8)).astype(np.float32)
    fibres = cv2.resize(small, (size, size), interpolation=cv2.INTER_LINEAR) * 0.02
    for line in piece.pencil_mm:
        drawn = np.round(_cells(line, size) * 16).astype(np.int32)
        grey = np.zeros((size, size), dtype=np.uint8)
        cv2.polylines(grey, [drawn], False, 255, thickness=3, lineType=cv2.LINE_AA, shift=4)
        fibres = fibres - 0.55 * grey / 255.0
    papered, inked = np.zeros((2, size, size), dtype=np.uint8)
    for layer, areas in ((papered, piece.paper_mm), (inked, piece.ink_mm)):
        for area in areas:
            cv2.fillPoly(layer, [np.round(_cells(area, size) * 16).astype(np.int32)], 255, shift=4)
    fibres = np.where(papered > 0, _PAPER[1] / piece.colour[1] - 1.0, fibres)
    fibres = np.where(inked > 0, 0.1 * (1.0 + fibres) - 1.0, fibres)
    return np.asarray(fibres, dtype=np.float32)


def _floor(scene: TableScene, size: int, rng: np.random.Generator) -> Pixels:
    coarse = rng.normal(0, 1, (size // 40, size // 160)).astype(np.float32)
    middle = rng.normal(0, 1, (size // 4, size // 16)).astype(np.float32)
    grain = np.asarray(cv2.resize(coarse, (size, size), interpolation=cv2.INTER_CUBIC))
    grain = grain + cv2.resize(middle, (size, size), interpolation=cv2.INTER_LINEAR)
    tint = np.array(scene.floor, dtype=np.float32)
    floor = np.maximum(tint * (1 + 0.7 * scene.grain * grain)[:, :, None], np.float32(0.01))
    for placed in scene.sheets:
        raster = printed_sheet(placed.sheet)
        high, wide = raster.shape
        turn = placed.world_from_sheet.rotation
        centre = _cells(placed.world_from_sheet.translation_mm[None, :2], size)[0]
        # Columns run along the sheet's x, rows against its y; the raster's rows too.
        across = np.array([turn[0, 0], -turn[1, 0]])
        down = np.array([-turn[0, 1], turn[1, 1]])
        matrix = np.column_stack([across, down, centre])
        matrix[:, 2] -= matrix[:, :2] @ np.array([(wide - 1) / 2, (high - 1) / 2])
        tone = _INK + (1 - _INK) * raster.astype(np.float32) / 255.0
        put = cv2.warpAffine(tone, matrix, (size, size), flags=cv2.INTER_LINEAR)
        there = cv2.warpAffine(np.ones_like(tone), matrix, (size, size), flags=cv2.INTER_LINEAR)
        floor = floor * (1 - there)[:, :, None] + put[:, :, None] * _PAPER.astype(np.float32)
    return np.asarray(floor, dtype=np.float32)


def _rays(camera: Camera) -> Pixels:
    """(H, W, 3): the direction each pixel looks, world frame."""
    lens = camera.lens
    u, v = np.meshgrid(
        np.arange(lens.width_px, dtype=np.float32), np.arange(lens.height_px, dtype=np.float32)
    )
    straight = cv2.undistortPoints(
        np.stack([u.ravel(), v.ravel()], axis=1).reshape(-1, 1, 2),
        lens.matrix(),
        lens.distortion(),
        None,
        None,
        None,
        (cv2.TERM_CRITERIA_COUNT | cv2.TERM_CRITERIA_EPS, 8, 1e-9),
    ).reshape(-1, 2)
    ways = camera.camera_from_world.inverse().turn(
        np.column_stack([straight, np.ones(len(straight))]).astype(np.float64)
    )
    return ways.reshape(lens.height_px, lens.width_px, 3).astype(np.float32)


def _look(camera: Camera, rays: Pixels, height_mm: float, size: int) -> tuple[Pixels, Pixels]:
    """Return per pixel which cell of the raster at a height it shows."""
    start = camera.centre_mm()
    hit = start[:2] + ((height_mm - start[2]) / rays[:, :, 2])[:, :, None] * rays[:, :, :2]
    cells = _cells(hit.reshape(-1, 2), size).astype(np.float32).reshape(hit.shape)
    return cells[:, :, 0], cells[:, :, 1]


def _sample(raster: Pixels, where: tuple[Pixels, Pixels]) -> Pixels:
    """Return a raster as the photo's pixels see it."""
    seen = cv2.remap(raster, where[0], where[1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(seen, dtype=np.float32)
