"""Where a tag's four straight edges run, without the bias of the photo's tone curve.

A camera brightens dark greys before it stores them, so the half-way grey of the stored
photo lies inside the true edge and every black square looks too small. Here the stored
greys are turned back into light first, the edge is taken where half the light of the step
is reached, and what bias remains (unknown tone curve, ink spread) is the same number of
pixels along every edge of a photo: the adjustment solves for it as the photo's *growth*.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import cv2
import numpy as np
from scipy.ndimage import map_coordinates

from fitkit.capture.tag_detection import TagSighting
from fitkit.capture.tone_curve import LightImage
from fitkit.geometry.arrays import Bools, Floats, frozen_bools, frozen_floats

__all__ = ["EdgeStations", "half_way", "measure_tag_edges"]

_STEP_PX = 0.25
_REACH_PX = 5.0
_STATIONS = 6
_LEAST_CONTRAST = 0.03


@dataclass(frozen=True, slots=True, eq=False)
class EdgeStations:
    """Measured places along the edges of one tag.

    Attributes
    ----------
    points_mm
        (K, 3) float mm, sheet frame: which place of the printed edge each station is.
    pixels_px
        (K, 2) float px: where the photo shows it. Only the part along ``outward`` is
        measured.
    outward
        (K, 2) float: unit normals in the photo, pointing from the black to the white.
    corners_px
        (4, 2) float px: where the four edges meet.
    blur_px
        Standard deviation of the light's spread across the edges, median over stations, of
        the pair of sides where it is larger: a shaken photo is sharp along the shake.
    inside
        (K,) bool: True for edges of white squares within the tag.
    """

    points_mm: Floats
    pixels_px: Floats
    outward: Floats
    corners_px: Floats
    blur_px: float
    inside: Bools = field(default_factory=lambda: np.zeros(0, dtype=np.bool_))

    def __post_init__(self) -> None:
        count = len(self.points_mm)
        inside = self.inside if len(self.inside) else np.zeros(count, dtype=np.bool_)
        object.__setattr__(self, "inside", frozen_bools(inside, (count,), "inside"))
        for name, shape in {
            "points_mm": (count, 3),
            "pixels_px": (count, 2),
            "outward": (count, 2),
            "corners_px": (4, 2),
        }.items():
            object.__setattr__(self, name, frozen_floats(getattr(self, name), shape, name))


def measure_tag_edges(light: LightImage, sighting: TagSighting) -> EdgeStations | None:
    """Return stations along the tag's edges, or None where they cannot be measured.

    Parameters
    ----------
    light
        The photo from :func:`light_of_grey`.
    sighting
        The tag with its rough corners.
    """
    corners = np.array(sighting.corners_px)
    # The first pass may start two pixels off; the second starts on the edge.
    for _ in range(2):
        lines = []
        for side in range(4):
            crossings = _crossings(light, corners, side, sighting.sheet.cells_across)
            line = None if crossings is None else _line_through(crossings)
            if line is None:
                return None
            lines.append(line)
        refined = np.array([_meeting(lines[side - 1], lines[side]) for side in range(4)])
        if not np.isfinite(refined).all() or np.abs(refined - corners).max() > _REACH_PX:
            return None
        corners = refined
    return _stations(light, sighting, corners)


def _profiles(
    light: LightImage, corners: Floats, side: int, cells_across: int
) -> tuple[Floats, Floats, Floats, Floats] | None:
    """Sample across one side.

    Returns ``base`` (N, 2) px along the side, its outward unit normal (2,), the offsets
    (M,) px along the normal and the light (N, M); None where the side is too short.
    """
    start, end = corners[side], corners[(side + 1) % 4]
    opposite = 0.5 * (corners[(side + 2) % 4] + corners[(side + 3) % 4])
    length = float(np.linalg.norm(end - start))
    along = (end - start) / max(length, 1e-9)
    outward: Floats = np.array([along[1], -along[0]])
    depth = float(outward @ (0.5 * (start + end) - opposite))
    if depth < 0:
        outward, depth = -outward, -depth
    # Stay within the tag's black border, one cell wide, and clear of the neighbouring sides.
    reach = min(_REACH_PX, 0.75 * depth / cells_across)
    clear = max(0.08 * length, 3.0)
    if reach < 1.5 or length - 2 * clear < 8.0:
        return None
    distances = np.arange(clear, length - clear, 1.0)
    base: Floats = start + distances[:, None] * along
    count = int(reach / _STEP_PX)
    offsets: Floats = np.arange(-count, count + 1, dtype=np.float64) * _STEP_PX
    points = base[:, None, :] + offsets[None, :, None] * outward
    if (points.min(axis=(0, 1)) < 1).any() or (
        points.max(axis=(0, 1)) > np.array(light.shape[::-1]) - 2
    ).any():
        return None
    values: Floats = map_coordinates(
        light, [points[..., 1], points[..., 0]], order=1, output=np.float64, prefilter=False
    )
    return base, outward, offsets, values


def half_way(profiles: Floats, offsets: Floats) -> Floats:
    """Return (N,) px: where each profile, dark to light, reaches half its step; NaN if nowhere."""
    ends = max(2, int(0.35 * len(offsets) / 2))
    low = profiles[:, :ends].mean(axis=1)
    high = profiles[:, -ends:].mean(axis=1)
    above = profiles - 0.5 * (low + high)[:, None]
    crosses = (above[:, :-1] <= 0) & (above[:, 1:] > 0)
    only_one = (crosses.sum(axis=1) == 1) & (high - low > _LEAST_CONTRAST)
    column = crosses.argmax(axis=1)
    rows = np.arange(len(profiles))
    below, beyond = above[rows, column], above[rows, column + 1]
    step = np.where(only_one, beyond - below, 1.0)
    return np.where(only_one, offsets[column] - below / step * _STEP_PX, np.nan)


def _crossings(light: LightImage, corners: Floats, side: int, cells_across: int) -> Floats | None:
    """Return (N, 2) px: edge points of one side, one per pixel of its length."""
    sampled = _profiles(light, corners, side, cells_across)
    if sampled is None:
        return None
    base, outward, offsets, values = sampled
    # Three neighbours together: less noise, hardly less resolution along the side.
    smooth = values.copy()
    smooth[1:-1] = (values[:-2] + values[1:-1] + values[2:]) / 3.0
    at = half_way(smooth, offsets)
    good = np.isfinite(at)
    if good.sum() < 8 or good.mean() < 0.4:
        return None
    points: Floats = base[good] + at[good, None] * outward
    return points


def _line_through(points: Floats) -> Floats | None:
    """Return (3,) line ``a x + b y + c = 0`` of unit normal through most of the points."""
    kept = points
    for _ in range(5):
        middle = kept.mean(axis=0)
        normal = np.linalg.svd(kept - middle, full_matrices=False)[2][1]
        distance = np.abs((points - middle) @ normal)
        spread = 1.4826 * float(np.median(np.abs((kept - middle) @ normal)))
        near = points[distance < max(0.25, 2.5 * spread)]
        if len(near) < 6 or len(near) < 0.5 * len(points):
            return None
        if len(near) == len(kept):
            break
        kept = near
    return np.array([normal[0], normal[1], -float(normal @ middle)])


def _meeting(line: Floats, other: Floats) -> Floats:
    """Return (2,) px: where two lines meet, not finite where they are parallel."""
    point = np.cross(line, other)
    if abs(point[2]) < 1e-6:
        return np.full(2, np.nan)
    meeting: Floats = point[:2] / point[2]
    return meeting


def _stations(light: LightImage, sighting: TagSighting, corners: Floats) -> EdgeStations | None:
    """Average the profiles of each side in a few stations and take the crossing of each."""
    printed = sighting.sheet.tag_corners_mm()
    sheet_from_photo = cv2.getPerspectiveTransform(
        corners.astype(np.float32), printed[:, :2].astype(np.float32)
    )
    points, pixels, normals = [], [], []
    blurs: tuple[list[float], list[float]] = ([], [])
    for side in range(4):
        sampled = _profiles(light, corners, side, sighting.sheet.cells_across)
        if sampled is None:
            return None
        base, outward, offsets, values = sampled
        groups = np.array_split(np.arange(len(base)), min(_STATIONS, len(base) // 4))
        averaged = np.array([values[group].mean(axis=0) for group in groups])
        at = half_way(averaged, offsets)
        contrast = averaged[:, -2:].mean(axis=1) - averaged[:, :2].mean(axis=1)
        # A station that something covers has another contrast, or runs off the line.
        good = np.isfinite(at) & (contrast > 0.5 * np.median(contrast))
        if not good.any():
            continue
        good &= np.abs(at - np.median(at[good])) < 1.0
        middles = np.array([base[group].mean(axis=0) for group in groups])[good]
        seen = middles + at[good, None] * outward
        on_sheet = cv2.perspectiveTransform(middles[None], sheet_from_photo)[0]
        place = np.zeros((len(seen), 3))
        place[:, :2] = on_sheet
        # The printed edge is exact in the direction across it: only the place along it is
        # taken from the photo.
        across = 1 if side in (0, 2) else 0
        place[:, across] = printed[side, across]
        points.append(place)
        pixels.append(seen)
        normals.append(np.tile(outward, (len(seen), 1)))
        blurs[side % 2].extend(_blur(averaged[good], offsets))
    if len(points) < 3 or sum(map(len, points)) < 8:
        return None
    return EdgeStations(
        np.concatenate(points),
        np.concatenate(pixels),
        np.concatenate(normals),
        corners,
        max(float(np.median(pair)) for pair in blurs if pair),
    )


def _blur(profiles: Floats, offsets: Floats) -> list[float]:
    """Return the spread of each profile's slope as a standard deviation in pixels."""
    slope = np.clip(np.diff(profiles, axis=1), 0.0, None)
    middle = 0.5 * (offsets[1:] + offsets[:-1])
    total = np.maximum(slope.sum(axis=1), 1e-12)
    mean = (slope * middle).sum(axis=1) / total
    variance = (slope * (middle - mean[:, None]) ** 2).sum(axis=1) / total
    return [float(value) for value in np.sqrt(variance)]
