"""A piece's outline to a fraction of a pixel: where its own colour ends.

Going outwards from the piece, its edge is the first place where the colour stops being the
piece's: what follows may be bare table, a shadow or the cut edge of the card itself, which all
differ from it. Along the whole outline the best closed path of such places is taken at once, so
that neither a pencil line nor a stain pulls it off.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numba as nb
import numpy as np
from scipy.ndimage import gaussian_filter1d, map_coordinates

from fitkit.geometry.arrays import Bools, Floats, Ints, frozen_floats
from fitkit.trace.table_picture import TablePicture

__all__ = ["PieceOutline", "outward_normals", "piece_outlines"]

_STATION_MM = 0.5
# First the mask may be this far off, then the path.
_REACHES_MM = (4.0, 1.2)
_INSIDE_MM = 2.5
_SMOOTHING_MM = 0.6
_LEAST_HOLE_MM2 = 3.0
# Steps sideways from one station to the next, in samples, and what each costs.
_STEEPEST = 2
_STEP_COST = 0.25
_LEAST_HOLE_CONTRAST = 0.4


@dataclass(frozen=True, slots=True, eq=False)
class PieceOutline:
    """A closed line round a piece or a hole in it.

    Attributes
    ----------
    points_mm
        (N, 2) float mm on the table: counter-clockwise round a piece, clockwise round a hole.
    contrast
        (N,) float: step of light across the edge, 0 to 1.
    sigma_mm
        (N,) float: how sure each point's place across the edge is, from the noise beside it.
    """

    points_mm: Floats
    contrast: Floats
    sigma_mm: Floats

    def __post_init__(self) -> None:
        count = len(self.points_mm)
        object.__setattr__(self, "points_mm", frozen_floats(self.points_mm, (None, 2), "points_mm"))
        for name in ("contrast", "sigma_mm"):
            object.__setattr__(self, name, frozen_floats(getattr(self, name), (count,), name))


def piece_outlines(
    picture: TablePicture, area: Bools
) -> tuple[PieceOutline, tuple[PieceOutline, ...]]:
    """Return a piece's outline and those of the holes in it.

    Parameters
    ----------
    picture
        The table from above, true for the piece's upper face.
    area
        (H, W) bool: about where the piece is; see :func:`fitkit.trace.piece_area.piece_areas`.
    """
    found, order = cv2.findContours(area.astype(np.uint8), cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
    rings = [np.asarray(ring, dtype=np.float32).reshape(-1, 2) for ring in found]
    outer = max(
        (i for i in range(len(rings)) if order[0][i][3] < 0),
        key=lambda i: cv2.contourArea(rings[i]),
    )
    outline = _snapped(
        picture,
        _counter_clockwise(picture.to_mm(rings[outer].astype(np.float64))),
    )
    holes = []
    for index, ring in enumerate(rings):
        if order[0][index][3] != outer:
            continue
        points = _counter_clockwise(picture.to_mm(ring.astype(np.float64)))[::-1]
        if len(points) >= 8 and abs(_area(points)) >= _LEAST_HOLE_MM2:
            hole = _snapped(picture, points)
            # A stain or a pencil line has no such edge as the piece itself.
            if np.median(hole.contrast) > _LEAST_HOLE_CONTRAST * np.median(outline.contrast):
                holes.append(hole)
    return outline, tuple(holes)


def _snapped(picture: TablePicture, ring_mm: Floats) -> PieceOutline:
    """Return a rough ring moved to where the piece's colour ends. The piece is on its left."""
    points = ring_mm
    small = abs(_area(ring_mm)) < np.pi * 8.0**2
    station = _STATION_MM * (0.5 if small else 1.0)
    for reach in _REACHES_MM:
        if small:
            reach = min(reach, 1.5)
        points = _resampled(_smoothed(points, _SMOOTHING_MM if reach < 2 else 2.0), station)
        outward = outward_normals(points)
        step = min(0.5 * picture.pixel_mm, 0.15)
        places = np.arange(-reach - _INSIDE_MM, reach + step, step)
        profile = _profiles(picture, points, outward, places)
        own = np.median(profile[:, places < -reach], axis=1)
        own = _round_filter(own, 12)
        unlike = np.linalg.norm(profile - own[:, None, :], axis=2)
        noise = np.median(unlike[:, places < -reach]) + 1e-6
        blurred = gaussian_filter1d(unlike, max(0.5 * picture.pixel_mm / step, 1.0), axis=1)
        rise = np.gradient(blurred, step, axis=1)
        inner = places >= -reach
        score = np.maximum(rise[:, inner], 0.0)
        # What lies beyond the first edge cannot be the piece's edge.
        crossed = np.maximum.accumulate(blurred[:, inner], axis=1)
        strength = np.percentile(score.max(axis=1), 50) + 1e-9
        score = score / np.maximum(score.max(axis=1, keepdims=True), 0.3 * strength)
        late = crossed > np.maximum(6.0 * noise, 0.8 * crossed.max(axis=1, keepdims=True))
        score = score - 0.5 * late
        path = _best_round(score, _STEP_COST, _STEEPEST)
        at = _peaks(score, path)
        offset = places[inner][0] + step * at
        points = points + outward * offset[:, None]
    chosen = np.clip(np.round(at).astype(int), 0, inner.sum() - 1)
    rows = np.arange(len(points))
    slope = np.maximum(rise[:, inner][rows, chosen], 1e-6)
    beyond = np.clip(chosen + round(1.0 / step), 0, inner.sum() - 1)
    contrast = blurred[:, inner][rows, beyond]
    return PieceOutline(points, contrast, noise / slope)


def _profiles(picture: TablePicture, points: Floats, outward: Floats, places: Floats) -> Floats:
    """(N, P, C): colours along each station's normal, averaged a little along the edge."""
    where = points[:, None, :] + outward[:, None, :] * places[None, :, None]
    pixels = picture.to_pixels(where.reshape(-1, 2))
    channels = [
        map_coordinates(
            picture.light[:, :, channel], [pixels[:, 1], pixels[:, 0]], order=1, mode="nearest"
        ).reshape(len(points), len(places))
        for channel in range(picture.light.shape[2])
    ]
    return np.asarray(gaussian_filter1d(np.stack(channels, axis=2), 1.0, axis=0, mode="wrap"))


def _round_filter(values: Floats, reach: int) -> Floats:
    return np.asarray(gaussian_filter1d(values, float(reach), axis=0, mode="wrap"))


@nb.njit(cache=True)
def _best_round(score: Floats, step_cost: float, steepest: int) -> Ints:
    """Return per station the sample of the closed path with the largest total score.

    The path moves at most ``steepest`` samples from a station to the next, at ``step_cost`` per
    sample squared. Closing: walked twice round, the second round is kept.
    """
    stations, samples = score.shape
    total = score[0].copy()
    came = np.zeros((2 * stations, samples), dtype=np.int16)
    for n in range(1, 2 * stations):
        best = np.empty(samples)
        for k in range(samples):
            top = -1e18
            for move in range(-steepest, steepest + 1):
                j = k + move
                if 0 <= j < samples:
                    value = total[j] - step_cost * move * move
                    if value > top:
                        top = value
                        came[n, k] = move
            best[k] = top + score[n % stations, k]
        total = best
    path = np.zeros(2 * stations, dtype=np.int64)
    path[-1] = np.argmax(total)
    for n in range(2 * stations - 1, 0, -1):
        path[n - 1] = path[n] + came[n, path[n]]
    middle = stations // 2
    # From the middle of the first round to the middle of the second.
    out = np.empty(stations, dtype=np.int64)
    for n in range(middle, middle + stations):
        out[n % stations] = path[n]
    return out


def _peaks(score: Floats, path: Ints) -> Floats:
    """Return the parabola's top beside each chosen sample, to a fraction of a sample."""
    rows = np.arange(len(path))
    last = score.shape[1] - 1
    # Climb to the local top within two samples, then read the parabola.
    best = path.copy()
    for _ in range(2):
        low, high = np.maximum(best - 1, 0), np.minimum(best + 1, last)
        best = np.where(score[rows, high] > score[rows, best], high, best)
        best = np.where(score[rows, low] > score[rows, best], low, best)
    low, high = np.maximum(best - 1, 0), np.minimum(best + 1, last)
    a, b, c = score[rows, low], score[rows, best], score[rows, high]
    bend = a - 2 * b + c
    shift = np.where(bend < -1e-9, 0.5 * (a - c) / np.where(bend < -1e-9, bend, 1.0), 0.0)
    top: Floats = best + np.clip(shift, -0.5, 0.5)
    return top


def outward_normals(points: Floats) -> Floats:
    """(N, 2), unit: to the right of a closed line's way at each of its points."""
    ahead = np.roll(points, -2, axis=0) - np.roll(points, 2, axis=0)
    ahead = ahead / np.maximum(np.linalg.norm(ahead, axis=1, keepdims=True), 1e-9)
    return np.column_stack([ahead[:, 1], -ahead[:, 0]])


def _smoothed(points: Floats, sigma_mm: float) -> Floats:
    even = _resampled(points, 0.25)
    return np.asarray(gaussian_filter1d(even, sigma_mm / 0.25, axis=0, mode="wrap"))


def _resampled(points: Floats, spacing_mm: float) -> Floats:
    closed = np.concatenate([points, points[:1]])
    length = np.r_[0.0, np.cumsum(np.linalg.norm(np.diff(closed, axis=0), axis=1))]
    count = max(8, round(length[-1] / spacing_mm))
    at = np.arange(count) * length[-1] / count
    return np.column_stack([np.interp(at, length, closed[:, k]) for k in range(2)])


def _area(points: Floats) -> float:
    x, y = points.T
    return 0.5 * float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))


def _counter_clockwise(points: Floats) -> Floats:
    return points if _area(points) > 0 else points[::-1]
