"""The four bow-tie saddle points of a sheet, which give the photos their scale.

At a saddle two black and two white quarters meet. Blur, exposure, tone curve and ink
spread act on all four edges alike, so the meeting point stays where it is; that is why
the scale of a body rests on saddles and not on the tag's black square.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from scipy.ndimage import map_coordinates

from fitkit.capture.marker_sheet import MarkerSheet
from fitkit.geometry.arrays import Bytes, Floats, Ints, frozen_floats, frozen_ints

__all__ = ["SeenSaddles", "measure_saddles"]

# Part of a bow-tie's half size used to find its point, and the most pixels that may span.
_WINDOW = 0.62
_LARGEST_HALF_PX = 26.0
_SMALLEST_HALF_PX = 3.5
_LEAST_CONTRAST_GREY = 16.0
_MOST_ROUNDS = 12
_MOST_MOVE_PX = 1.5
# Where a saddle is looked for, in its half sizes; so near it nothing else looks like one.
_SEARCHED = 0.5 * np.array(
    [[0, 0], [0, 1], [0, -1], [1, 0], [-1, 0], [1, 1], [1, -1], [-1, 1], [-1, -1]]
)


@dataclass(frozen=True, slots=True, eq=False)
class SeenSaddles:
    """Saddle points found: ``which`` (K,) rows of ``MarkerSheet.saddles_mm``, (K, 2) px."""

    which: Ints
    pixels_px: Floats

    def __post_init__(self) -> None:
        object.__setattr__(self, "which", frozen_ints(self.which, (None,), "which", below=4))
        object.__setattr__(
            self,
            "pixels_px",
            frozen_floats(np.reshape(self.pixels_px, (-1, 2)), (len(self.which), 2), "pixels_px"),
        )


def measure_saddles(grey: Bytes, sheet: MarkerSheet, corners_px: Floats) -> SeenSaddles:
    """Find a sheet's saddle points near where its tag says they are.

    Parameters
    ----------
    grey
        (H, W) uint8, the photo as stored.
    sheet
        The sheet.
    corners_px
        (4, 2) float px: the tag's corners, to a fraction of a pixel.

    Returns
    -------
    SeenSaddles
        Those that show: a covered, cut off, washed out or misshapen one is missing.
    """
    photo_from_sheet = np.asarray(
        cv2.getPerspectiveTransform(
            sheet.tag_corners_mm()[:, :2].astype(np.float32), corners_px.astype(np.float32)
        ),
        dtype=np.float64,
    )
    which, pixels = [], []
    for index, saddle in enumerate(sheet.saddles_mm()[:, :2]):
        # Paper that curls carries its saddles away from where the tag says they are.
        for shift in _SEARCHED * sheet.saddle_half_mm:
            found = _find(grey, photo_from_sheet, saddle + shift, sheet.saddle_half_mm)
            if found is not None:
                break
        if found is not None:
            which.append(index)
            pixels.append(found)
    return SeenSaddles(np.array(which, dtype=np.int64), np.reshape(pixels, (-1, 2)))


def _find(
    grey: Bytes, photo_from_sheet: Floats, saddle_mm: Floats, half_mm: float
) -> Floats | None:
    """Return (2,) px: where one saddle is, or None."""
    scale = _px_per_mm(photo_from_sheet, saddle_mm)
    # The surroundings are drawn upright and without perspective, as finely as the photo
    # shows them in its better direction, so that one square window fits every view.
    scale = min(scale, _LARGEST_HALF_PX / half_mm)
    half_px = half_mm * scale
    if half_px < _SMALLEST_HALF_PX:
        return None
    reach = int(np.ceil(half_px)) + 2
    patch = _patch(grey, photo_from_sheet, saddle_mm, scale, reach)
    if patch is None:
        return None
    start = np.array([[[reach, reach]]], dtype=np.float32)
    window = max(2, min(round(_WINDOW * half_px), reach - 4))
    criteria = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 50, 1e-3)
    near = cv2.cornerSubPix(patch.astype(np.float32), start, (window, window), (-1, -1), criteria)
    at = np.asarray(near, dtype=np.float64).reshape(2)
    shift = at - reach
    if np.abs(shift).max() > 0.3 * half_px + 0.5 or not _is_saddle(patch, at, half_px):
        return None
    found_mm = _centre_of_symmetry(
        grey, photo_from_sheet, saddle_mm + shift * [1.0, -1.0] / scale, scale, half_px
    )
    return None if found_mm is None else _through(photo_from_sheet, found_mm[None])[0]


def _through(photo_from_sheet: Floats, points_mm: Floats) -> Floats:
    """Return (N, 2) px: the photo places of (N, 2) mm on the sheet's plane."""
    lifted = points_mm @ photo_from_sheet[:, :2].T + photo_from_sheet[:, 2]
    places: Floats = lifted[:, :2] / lifted[:, 2:]
    return places


def _px_per_mm(photo_from_sheet: Floats, point_mm: Floats) -> float:
    """Return how finely the photo shows the sheet at a point, in its better direction."""
    step = 0.5
    around = point_mm + step * np.array([[1.0, 0.0], [-1.0, 0.0], [0.0, 1.0], [0.0, -1.0]])
    places = _through(photo_from_sheet, around)
    slope = np.stack([places[0] - places[1], places[2] - places[3]], axis=1) / (2 * step)
    return float(np.linalg.svd(slope, compute_uv=False)[0])


def _patch(
    grey: Bytes, photo_from_sheet: Floats, centre_mm: Floats, scale: float, reach: int
) -> Floats | None:
    """Return (2 reach + 1,) squared greys around a sheet point, ``scale`` px per mm, y up.

    Rows run down the sheet. None where the photo does not reach that far.
    """
    axis = np.arange(-reach, reach + 1, dtype=np.float64) / scale
    offsets = np.stack(np.meshgrid(axis, -axis), axis=-1).reshape(-1, 2)
    points = _through(photo_from_sheet, centre_mm + offsets)
    low = np.floor(points.min(axis=0)).astype(np.int64) - 2
    high = np.ceil(points.max(axis=0)).astype(np.int64) + 3
    if (low < 0).any() or (high > np.array(grey.shape[::-1])).any():
        return None
    part = grey[low[1] : high[1], low[0] : high[0]].astype(np.float64)
    values: Floats = map_coordinates(
        part, [points[:, 1] - low[1], points[:, 0] - low[0]], order=3, mode="nearest"
    )
    return values.reshape(2 * reach + 1, 2 * reach + 1)


def _centre_of_symmetry(
    grey: Bytes, photo_from_sheet: Floats, start_mm: Floats, scale: float, half_px: float
) -> Floats | None:
    """Return (2,) mm: the point about which the bow-tie is the same turned by half a turn.

    Least squares of the greys at ``c + d`` against those at ``c - d``. Whatever the blur and
    the tone curve do to an edge they do to the opposite one, so the centre does not move.
    """
    reach = max(3, int(0.85 * half_px))
    axis = np.arange(-reach, reach + 1, dtype=np.float64)
    # Fade out towards the rim, where a small error of the start would cut unevenly.
    fade = np.cos(0.5 * np.pi * axis / (reach + 1))
    weight = np.sqrt(np.outer(fade, fade))
    centre = start_mm
    for _ in range(_MOST_ROUNDS):
        patch = _patch(grey, photo_from_sheet, centre, scale, reach)
        if patch is None:
            return None
        down, right = np.gradient(patch, axis=0), np.gradient(patch, axis=1)
        half_turn = (slice(None, None, -1), slice(None, None, -1))
        difference = (weight * (patch - patch[half_turn])).ravel()
        by_right = (weight * (right - right[half_turn])).ravel()
        by_down = (weight * (down - down[half_turn])).ravel()
        # Light that falls off across the bow-tie is not the same turned by half a turn.
        even = weight * (patch + patch[half_turn])
        falling = [(even * axis).ravel() / reach, (even * axis[:, None]).ravel() / reach]
        slopes = np.stack([by_right, by_down, *falling], axis=1)
        slopes_size = np.linalg.norm(slopes, axis=0)
        if slopes_size.min() <= 0:
            return None
        slopes = slopes / slopes_size
        normal = slopes.T @ slopes
        if np.linalg.cond(normal) > 1e4:
            return None
        step_px = -(np.linalg.solve(normal, slopes.T @ difference) / slopes_size)[:2]
        step_px *= min(1.0, 1.0 / max(float(np.abs(step_px).max()), 1e-9))
        centre = centre + step_px * [1.0, -1.0] / scale
        if np.abs(step_px).max() < 1e-3:
            break
    if np.abs(centre - start_mm).max() * scale > _MOST_MOVE_PX:
        return None
    return centre


def _is_saddle(patch: Floats, at: Floats, half_px: float) -> bool:
    """Say whether upper left and lower right are dark, the others light, each even in itself."""
    rows, columns = np.mgrid[0 : patch.shape[0], 0 : patch.shape[1]]
    right, down = columns - at[0], rows - at[1]
    inner, outer = max(0.25 * half_px, 1.0), 0.7 * half_px
    ring = (np.minimum(np.abs(right), np.abs(down)) >= inner) & (
        np.maximum(np.abs(right), np.abs(down)) <= outer
    )
    quarters = [
        patch[ring & ((right < 0) == left) & ((down < 0) == up)]
        for left, up in [(True, True), (False, False), (False, True), (True, False)]
    ]
    if min(map(len, quarters)) < 2:
        return False
    medians = [float(np.median(quarter)) for quarter in quarters]
    contrast = min(medians[2:]) - max(medians[:2])
    spread = max(
        float(np.median(np.abs(quarter - m))) for quarter, m in zip(quarters, medians, strict=True)
    )
    unlike = max(abs(medians[0] - medians[1]), abs(medians[2] - medians[3]))
    return contrast > _LEAST_CONTRAST_GREY and spread < 0.2 * contrast and unlike < 0.5 * contrast
