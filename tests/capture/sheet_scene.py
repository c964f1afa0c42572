"""Marker sheets, cameras and photos of them with known answers, for the tests of this room.

Photos are traced ray by ray from the definition of the sheets, through the lens model, and
share no code with what measures them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import cv2
import numpy as np
from scipy.spatial.transform import Rotation

from fitkit.capture.camera import Camera, Lens
from fitkit.capture.marker_sheet import MarkerSheet, marker_sheet
from fitkit.capture.photo import Photo
from fitkit.capture.photo_network import LensPriors, Network, Sightings
from fitkit.capture.pose_start import SeenPoints
from fitkit.capture.tag_set import OUR_SHEETS, PrintedTag, TagSet
from fitkit.geometry.arrays import Floats
from fitkit.geometry.rigid import RigidTransform

PHONE = Lens(756, 1008, 768.0, 381.0, 499.0, k1=0.05, k2=-0.06, p1=3e-4, p2=-2e-4)
"""A phone's lens on small photos."""

FULL_SIZE_PHONE = Lens(1512, 2016, 1536.0, 762.5, 998.5, k1=0.05, k2=-0.06, p1=3e-4, p2=-2e-4)
"""The same lens on photos of the size the scan works with."""


def sheets_on_floor(count: int = 8, *, radius_mm: float = 650.0) -> list:
    """Sheet 1 in front (at -y, top edge away from the wearer), the others around, turned anyhow."""
    rng = np.random.default_rng(3)
    placed = []
    for k in range(count):
        around = -np.pi / 2 + 2 * np.pi * k / count
        radius = radius_mm + (180.0 if k % 2 else 0.0)
        turn = np.pi if k == 0 else rng.uniform(0, 2 * np.pi)
        pose = RigidTransform(
            Rotation.from_euler("z", turn).as_matrix(),
            np.array([radius * np.cos(around), radius * np.sin(around), 0.0]),
        )
        placed.append((marker_sheet("A4", k + 1), pose))
    return placed


@dataclass(frozen=True)
class Strip:
    """The part of a sheet between two heights of its own, which lies as if it went on flat."""

    sheet: MarkerSheet
    low_mm: float
    high_mm: float


def folded(sheet: MarkerSheet, world_from_sheet: RigidTransform, fold_rad: float) -> list:
    """Two strips of a sheet whose top half rises from the fold across its middle."""
    half = sheet.paper.height_mm / 2
    rising = Rotation.from_euler("x", fold_rad).as_matrix()
    return [
        (Strip(sheet, -half, 0.0), world_from_sheet),
        (Strip(sheet, 0.0, half), world_from_sheet @ RigidTransform(rising, np.zeros(3))),
    ]


def curled(
    sheet: MarkerSheet, world_from_sheet: RigidTransform, sag_mm: float, strips: int = 40
) -> list:
    """Lay strips of a sheet on a cylinder, top and bottom edge ``sag_mm`` above its middle.

    An arc of length L and radius R has a sag of R (1 - cos(L / 2R)), about L^2 / 8R.
    """
    half = sheet.paper.height_mm / 2
    radius = half**2 / (2 * sag_mm)
    bounds = np.linspace(-half, half, strips + 1)
    parts = []
    for low, high in pairwise(bounds.tolist()):
        middle = (low + high) / 2
        turn = Rotation.from_euler("x", middle / radius).as_matrix()
        at = np.array([0.0, np.sin(middle / radius), 1 - np.cos(middle / radius)]) * radius
        tangent = RigidTransform(turn, at - turn @ [0.0, middle, 0.0])
        parts.append((Strip(sheet, low, high), world_from_sheet @ tangent))
    return parts


def looking_at(centre_mm: Floats, target_mm: Floats, roll_rad: float = 0.0) -> RigidTransform:
    """Return ``camera_from_world`` of a camera at a centre."""
    forward = (target_mm - centre_mm) / np.linalg.norm(target_mm - centre_mm)
    right = np.cross(forward, [0.0, 0.0, 1.0])
    right /= np.linalg.norm(right)
    rotation = np.stack([right, np.cross(forward, right), forward])
    rotation = Rotation.from_euler("z", roll_rad).as_matrix() @ rotation
    return RigidTransform(rotation, -rotation @ centre_mm)


def ring_of_cameras(
    lens: Lens = PHONE,
    *,
    per_ring: int = 6,
    rings: Sequence[tuple[float, float]] = ((1000.0, 2100.0), (1700.0, 1800.0)),
) -> list[Camera]:
    """Rings of cameras (height, distance) that look at the wearer's knees, a little shaky."""
    rng = np.random.default_rng(1)
    cameras = []
    for ring, (height, distance) in enumerate(rings):
        for k in range(per_ring):
            around = 2 * np.pi * (k + 0.5 * ring) / per_ring + rng.normal(0, 0.02)
            away = distance + rng.normal(0, 40)
            centre = np.array([away * np.cos(around), away * np.sin(around), height])
            target = np.array([0, 0, 450.0]) + rng.normal(0, 40, 3)
            pose = looking_at(centre, target, rng.normal(0, 0.03))
            cameras.append(Camera(f"photo-{len(cameras):02d}.jpg", lens, pose))
    return cameras


def rays_of_pixels(lens: Lens, pixels_px: Floats) -> Floats:
    """(N, 2): where the rays of pixels cross the plane one before the camera."""
    wanted = (pixels_px - [lens.centre_x_px, lens.centre_y_px]) / lens.focal_px
    guess = wanted.copy()
    for _ in range(6):
        ahead = np.column_stack([guess, np.ones(len(guess))])
        seen = lens.project(ahead) - [lens.centre_x_px, lens.centre_y_px]
        guess += wanted - seen / lens.focal_px
    return guess


def _fine_rays(lens: Lens, low: np.ndarray, high: np.ndarray, fine: int) -> Floats:
    """(N, 3) rays of ``fine`` squared places in each pixel of a box, row by row.

    Between the corners of a pixel a lens is straight to a millionth of a pixel.
    """
    columns, rows = np.arange(low[0], high[0] + 1) - 0.5, np.arange(low[1], high[1] + 1) - 0.5
    nodes = rays_of_pixels(lens, np.stack(np.meshgrid(columns, rows), axis=-1).reshape(-1, 2))
    nodes = nodes.reshape(len(rows), len(columns), 2)
    part = (np.arange(fine) + 0.5) / fine
    down = np.repeat(nodes[:-1], fine, axis=0)
    down += np.tile(part, len(rows) - 1)[:, None, None] * np.repeat(np.diff(nodes, axis=0), fine, 0)
    across = np.repeat(down[:, :-1], fine, axis=1)
    step = np.repeat(np.diff(down, axis=1), fine, axis=1)
    across += np.tile(part, len(columns) - 1)[None, :, None] * step
    return np.column_stack([across.reshape(-1, 2), np.ones(across.size // 2)])


def half_paper_mm(sheet: MarkerSheet | PrintedTag) -> tuple[float, float]:
    """Half width and height of the paper; a tag by itself has a rim of one square."""
    if isinstance(sheet, MarkerSheet):
        return sheet.paper.width_mm / 2, sheet.paper.height_mm / 2
    half = sheet.tag_side_mm * (0.5 + 1.0 / sheet.cells_across)
    return half, half


def print_of_tag(tags: TagSet, tag: PrintedTag, at_mm: Floats, *, ink_spread_mm: float) -> Floats:
    """(N,) reflectance of a tag at (N, 2) mm; ink spreads from every black square."""
    x, y = at_mm.T
    count = tag.cells_across
    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, tags.opencv_name))
    black = np.zeros((count + 2, count + 2), dtype=bool)
    black[1:-1, 1:-1] = cv2.aruco.generateImageMarker(dictionary, tag.tag_id, count) < 128
    size, half = tag.tag_side_mm / count, tag.tag_side_mm / 2
    dark = np.zeros(len(at_mm), dtype=bool)
    for dx in (-ink_spread_mm, 0.0, ink_spread_mm):
        for dy in (-ink_spread_mm, 0.0, ink_spread_mm):
            column = np.clip(np.floor((x + dx + half) / size).astype(int) + 1, 0, count + 1)
            row = np.clip(np.floor((half - y + dy) / size).astype(int) + 1, 0, count + 1)
            dark |= black[row, column]
    light = np.where(dark, 0.045, 0.85)
    off = np.maximum(np.abs(x), np.abs(y)) > half + size
    return np.where(off, np.nan, light)


def print_of_sheet(sheet: MarkerSheet, at_mm: Floats, *, ink_spread_mm: float = 0.0) -> Floats:
    """(N,) reflectance of a sheet at (N, 2) mm; NaN beside the paper."""
    x, y = at_mm.T
    light = np.full(len(at_mm), 0.85)
    half = sheet.tag_side_mm / 2
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    cells = cv2.aruco.generateImageMarker(dictionary, sheet.tag_id, 8) > 127
    size = sheet.tag_side_mm / 8
    column = np.clip((x + half) // size, 0, 7).astype(int)
    row = np.clip((half - y) // size, 0, 7).astype(int)
    in_tag = (np.abs(x) <= half + ink_spread_mm) & (np.abs(y) <= half + ink_spread_mm)
    light = np.where(in_tag & ~cells[row, column], 0.045, light)
    # The four saddles lie alike in the four quarters of the sheet.
    saddle_x, saddle_y = np.abs(sheet.saddles_mm()[0, :2])
    dx, dy = x - np.sign(x) * saddle_x, y - np.sign(y) * saddle_y
    near = np.maximum(np.abs(dx), np.abs(dy)) <= sheet.saddle_half_mm
    # Upper left and lower right are black; spread ink meets in the middle alike.
    black = (dx * dy < 0) | (np.minimum(np.abs(dx), np.abs(dy)) < ink_spread_mm / 2)
    light = np.where(near & black, 0.045, light)
    off = (np.abs(x) > sheet.paper.width_mm / 2) | (np.abs(y) > sheet.paper.height_mm / 2)
    return np.where(off, np.nan, light)


def photo_of(
    camera: Camera,
    sheets: Sequence[tuple[MarkerSheet | PrintedTag | Strip, RigidTransform]],
    *,
    tags: TagSet = OUR_SHEETS,
    blur_px: float = 0.7,
    exposure: float = 1.0,
    tone_gamma: float = 1.8,
    noise_grey: float = 2.0,
    printed_scale: float = 1.0,
    ink_spread_mm: float = 0.0,
    focal_guess: float | None = None,
    focal_known: bool = True,
    seed: int = 0,
    fine: int = 3,
) -> Photo:
    """Photograph the sheets: traced, blurred in light, bent by a tone curve, noisy.

    ``fine`` squared rays make a pixel: the more, the less an edge along the pixels is off.
    """
    lens = camera.lens
    rng = np.random.default_rng(seed)
    floor = cv2.resize(
        rng.uniform(0.15, 0.5, (lens.height_px // 9, lens.width_px // 9)),
        None,
        fx=9,
        fy=9,
        interpolation=cv2.INTER_CUBIC,
    )
    light = np.full((lens.height_px, lens.width_px), 0.3)
    light[: floor.shape[0], : floor.shape[1]] = floor
    for part, world_from_sheet in sheets:
        camera_from_sheet = camera.camera_from_world @ world_from_sheet
        sheet = part.sheet if isinstance(part, Strip) else part
        width, high_mm = half_paper_mm(sheet)
        low_mm = -high_mm
        if isinstance(part, Strip):
            low_mm, high_mm = part.low_mm, part.high_mm
        outline = (
            np.array(
                [
                    [-width, high_mm, 0],
                    [width, high_mm, 0],
                    [width, low_mm, 0],
                    [-width, low_mm, 0.0],
                ]
            )
            * printed_scale
        )
        corners = camera_from_sheet.apply(outline)
        if corners[:, 2].min() < 100 or camera_from_sheet.inverse().translation_mm[2] < 0:
            continue
        seen = lens.project(corners)
        low = np.maximum(np.floor(seen.min(axis=0)).astype(int) - 2, 0)
        high = np.minimum(
            np.ceil(seen.max(axis=0)).astype(int) + 3, [lens.width_px, lens.height_px]
        )
        if (high <= low).any():
            continue
        rays = _fine_rays(lens, low, high, fine)
        directions = rays @ camera_from_sheet.rotation
        start = camera_from_sheet.inverse().translation_mm
        at = start[:2] - directions[:, :2] * (start[2] / directions[:, 2])[:, None]
        if isinstance(sheet, MarkerSheet):
            shade = print_of_sheet(sheet, at / printed_scale, ink_spread_mm=ink_spread_mm)
        else:
            shade = print_of_tag(tags, sheet, at / printed_scale, ink_spread_mm=ink_spread_mm)
        if isinstance(part, Strip):
            beside = (at[:, 1] < low_mm * printed_scale) | (at[:, 1] >= high_mm * printed_scale)
            shade = np.where(beside, np.nan, shade)
        shade = shade.reshape(fine * (high[1] - low[1]), fine * (high[0] - low[0]))
        under = light[low[1] : high[1], low[0] : high[0]]
        shade = np.where(np.isnan(shade), np.kron(under, np.ones((fine, fine))), shade)
        light[low[1] : high[1], low[0] : high[0]] = shade.reshape(
            high[1] - low[1], fine, high[0] - low[0], fine
        ).mean(axis=(1, 3))
    light = cv2.GaussianBlur(light, (0, 0), blur_px) if blur_px else light
    stored = 255 * np.clip(light * exposure, 0, 1) ** (1 / tone_gamma)
    grey = np.clip(np.round(stored + rng.normal(0, noise_grey, stored.shape)), 0, 255)
    guess = focal_guess or lens.focal_px * 0.985
    return Photo(camera.photo, grey.astype(np.uint8), guess, focal_known, f"phone|{lens.width_px}")


def similarity(from_mm: Floats, to_mm: Floats, *, with_scale: bool) -> tuple[float, Floats]:
    """Scale and leftover distances (N,) mm of the best motion of points onto points.

    S. Umeyama, "Least-squares estimation of transformation parameters between two point
    patterns", IEEE PAMI 13(4), 1991, pp. 376-380, doi:10.1109/34.88573.
    """
    a, b = from_mm - from_mm.mean(axis=0), to_mm - to_mm.mean(axis=0)
    u, s, vt = np.linalg.svd(b.T @ a)
    sign = np.diag([1.0, 1.0, np.sign(np.linalg.det(u @ vt))])
    rotation = u @ sign @ vt
    scale = float((s * np.diag(sign)).sum() / (a**2).sum())
    moved = (scale if with_scale else 1.0) * a @ rotation.T
    return scale, np.linalg.norm(moved - b, axis=1)


def seen_points(
    cameras: Sequence[Camera],
    sheets: Sequence[tuple[MarkerSheet, RigidTransform]],
    *,
    noise_px: float = 0.0,
    seed: int = 5,
) -> list[SeenPoints]:
    """Tag corners and saddles as each camera sees those sheets that are wholly in its photo."""
    rng = np.random.default_rng(seed)
    seen = []
    for c, camera in enumerate(cameras):
        for s, (sheet, world_from_sheet) in enumerate(sheets):
            points = np.concatenate([sheet.tag_corners_mm(), sheet.saddles_mm()])
            in_camera = (camera.camera_from_world @ world_from_sheet).apply(points)
            facing = (camera.camera_from_world @ world_from_sheet).inverse().translation_mm[2]
            if in_camera[:, 2].min() < 100 or facing <= 0:
                continue
            pixels = camera.lens.project(in_camera)
            limits = [camera.lens.width_px - 1, camera.lens.height_px - 1]
            if (pixels < 0).any() or (pixels > limits).any():
                continue
            pixels = pixels + rng.normal(0, noise_px, pixels.shape)
            seen.append(SeenPoints(c, s, points, pixels))
    return seen


def sightings_of(
    seen: Sequence[SeenPoints], *, sigma_px: float, growth_px: float = 0.0
) -> Sightings:
    """Saddles as points, tag corners as the two edges that meet there, black grown by so much."""
    rows = []
    for view in seen:
        corners = view.pixels_px[:4]
        for k in range(4):
            for other in (1, -1):
                along = corners[(k + other) % 4] - corners[k]
                outward = np.array([along[1], -along[0]]) / np.linalg.norm(along)
                outward *= np.sign(outward @ (corners[k] - corners.mean(axis=0)))
                pixel = corners[k] + growth_px * outward
                rows.append((view.camera, view.sheet, view.points_mm[k], pixel, outward, 1.0))
        for k in range(4, 8):
            for direction in np.eye(2):
                rows.append(
                    (view.camera, view.sheet, view.points_mm[k], view.pixels_px[k], direction, 0.0)
                )
    camera, sheet, points, pixels, directions, grows = (
        np.array(c) for c in zip(*rows, strict=True)
    )
    return Sightings(camera, sheet, points, pixels, directions, grows, np.full(len(rows), sigma_px))


def network_of(
    cameras: Sequence[Camera], sheets: Sequence[tuple[MarkerSheet, RigidTransform]]
) -> Network:
    """Return the true network of a scene in which all cameras share one lens."""
    lens = cameras[0].lens
    return Network(
        np.array([[lens.focal_px, lens.centre_x_px, lens.centre_y_px, *lens.distortion()]]),
        np.zeros(len(cameras), dtype=np.int64),
        np.array([c.camera_from_world.rotation for c in cameras]),
        np.array([c.camera_from_world.translation_mm for c in cameras]),
        np.zeros(len(cameras)),
        np.array([pose.rotation for _, pose in sheets]),
        np.array([pose.translation_mm for _, pose in sheets]),
    )


def wide_priors(network: Network) -> LensPriors:
    """Priors so loose that they say nothing."""
    loose = np.tile([1e5, 1e5, 1e5, 1e3, 1e3, 1e3, 1e3], (len(network.lenses), 1))
    return LensPriors(np.array(network.lenses), loose, growth_sigma_px=1e4)
