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
        found = _find(grey, photo_from_sheet, saddle, sheet.saddle_half_mm)
        if found is not None:
            which.append(index)
            pixels.append(found)
    return SeenSaddles(np.array(which, dtype=np.int64), np.reshape(pixels, (-1, 2)))


def _place_and_slope(photo_from_sheet: Floats, point_mm: Floats) -> tuple[Floats, Floats]:
    """Return the photo place (2,) px of a sheet point and the (2, 2) px per mm around it."""
    x, y, w = photo_from_sheet @ np.array([point_mm[0], point_mm[1], 1.0])
    place = np.array([x / w, y / w])
    slope = (photo_from_sheet[:2, :2] - place[:, None] * photo_from_sheet[2:, :2]) / w
    return place, slope


def _find(
    grey: Bytes, photo_from_sheet: Floats, saddle_mm: Floats, half_mm: float
) -> Floats | None:
    place, slope = _place_and_slope(photo_from_sheet, saddle_mm)
    # The surroundings are drawn upright and unforeshortened, as finely as the photo shows
    # them in its better direction, so that one square window fits every view.
    scale = float(np.linalg.svd(slope, compute_uv=False)[0])
    scale = min(scale, _LARGEST_HALF_PX / half_mm)
    half_px = half_mm * scale
    if half_px < _SMALLEST_HALF_PX:
        return None
    reach = int(np.ceil(half_px)) + 2
    photo_from_patch = slope / scale
    axis = np.arange(-reach, reach + 1, dtype=np.float64)
    # Patch rows run down the sheet, that is against its y.
    offsets = np.stack(np.meshgrid(axis, -axis), axis=-1)
    points = place + offsets @ photo_from_patch.T
    if (points.min(axis=(0, 1)) < 0).any() or (
        points.max(axis=(0, 1)) > np.array(grey.shape[::-1]) - 1
    ).any():
        return None
    patch = map_coordinates(
        grey, [points[..., 1], points[..., 0]], order=1, output=np.float32, prefilter=False
    )
    start = np.array([[[reach, reach]]], dtype=np.float32)
    window = max(2, min(round(_WINDOW * half_px), reach - 4))
    criteria = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 50, 1e-4)
    at = np.asarray(
        cv2.cornerSubPix(patch, start, (window, window), (-1, -1), criteria), dtype=np.float64
    ).reshape(2)
    shift = at - reach
    if np.abs(shift).max() > 0.3 * half_px + 0.5 or not _is_saddle(patch, at, half_px):
        return None
    found: Floats = place + photo_from_patch @ np.array([shift[0], -shift[1]])
    return found


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
