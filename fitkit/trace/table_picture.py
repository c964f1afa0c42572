"""A photo of the table drawn anew as if seen from straight above, to scale."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from fitkit.capture.marker_sheet import MarkerSheet
from fitkit.capture.tone_curve import light_of_grey
from fitkit.geometry.arrays import Bools, Bytes, Floats
from fitkit.trace.table_view import TableView

__all__ = ["TablePicture", "table_picture"]

# Of the table nothing further from the sheets than this is looked at.
_REACH_MM = 500.0
_MOST_PIXELS = 16_000_000
# The paper's edge is printed nowhere; its shadow and curl reach a little further.
_PAPER_RIM_MM = 3.0
# Where a pixel covers this many times more table than beside the sheets, edges are too coarse.
_COARSEST = 2.5


@dataclass(frozen=True, slots=True, eq=False)
class TablePicture:
    """The table from above.

    Attributes
    ----------
    lab
        (H, W, C) float32: lightness 0 to 100 and, of a colour photo, the two colour channels of
        CIE L*a*b*: differences as an eye sees them.
    light
        (H, W, C) float32: the light itself, 0 to 1, grey or RGB: a pixel half on the piece and
        half beside it is half-way here, and only here.
    corner_mm
        (2,) float mm: table place of the first pixel's centre; x runs with the columns, y against
        the rows.
    pixel_mm
        Side of a pixel.
    height_mm
        The plane over the table that the picture is true for: the card's upper face.
    seen
        (H, W) bool: the photo shows this place finely enough.
    paper
        (H, W) bool: a marker sheet lies here, or its rim.
    """

    lab: NDArray[np.float32]
    light: NDArray[np.float32]
    corner_mm: Floats
    pixel_mm: float
    height_mm: float
    seen: Bools
    paper: Bools

    def to_mm(self, pixels: Floats) -> Floats:
        """(N, 2) float mm: table places of (N, 2) pixels as (column, row)."""
        place: Floats = self.corner_mm + self.pixel_mm * pixels * np.array([1.0, -1.0])
        return place

    def to_pixels(self, points_mm: Floats) -> Floats:
        """(N, 2) float (column, row): of (N, 2) table places in mm."""
        pixels: Floats = (points_mm - self.corner_mm) / self.pixel_mm * np.array([1.0, -1.0])
        return pixels


def table_picture(picture: Bytes, view: TableView, *, height_mm: float = 0.0) -> TablePicture:
    """Return a photo redrawn from above.

    Parameters
    ----------
    picture
        (H, W) or (H, W, 3) uint8, grey or RGB, upright, as large as the view's lens says.
    view
        Its view of the table.
    height_mm
        The plane to be true for.
    """
    low, high = _extent(view, height_mm)
    footprint = _footprint_mm(view, height_mm)
    wide, deep = high - low
    pixel_mm = max(footprint, float(np.sqrt(wide * deep / _MOST_PIXELS)))
    columns, rows = int(wide / pixel_mm) + 1, int(deep / pixel_mm) + 1
    corner = np.array([low[0], high[1]])
    x = corner[0] + pixel_mm * np.arange(columns)
    y = corner[1] - pixel_mm * np.arange(rows)
    points = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    pixels = view.pixels(points, height_mm).astype(np.float32).reshape(rows, columns, 2)
    shown = np.asarray(
        cv2.remap(
            picture,
            pixels[:, :, 0],
            pixels[:, :, 1],
            cv2.INTER_CUBIC,
            borderMode=cv2.BORDER_REPLICATE,
        ),
        dtype=np.uint8,
    )
    lens = view.camera.lens
    inside = (
        (pixels[:, :, 0] >= 1)
        & (pixels[:, :, 0] <= lens.width_px - 2)
        & (pixels[:, :, 1] >= 1)
        & (pixels[:, :, 1] <= lens.height_px - 2)
    )
    return TablePicture(
        _lab(shown),
        light_of_grey(shown).reshape(rows, columns, -1),
        corner,
        pixel_mm,
        height_mm,
        inside & _fine(pixels, pixel_mm, footprint),
        _paper(view, points).reshape(rows, columns),
    )


def _lab(shown: Bytes) -> NDArray[np.float32]:
    scaled = np.asarray(shown, dtype=np.float32) / 255.0
    if scaled.ndim == 3:
        return np.asarray(cv2.cvtColor(scaled, cv2.COLOR_RGB2LAB), dtype=np.float32)
    grey = cv2.cvtColor(scaled, cv2.COLOR_GRAY2RGB)
    lightness = cv2.cvtColor(grey, cv2.COLOR_RGB2LAB)[:, :, :1]
    return np.ascontiguousarray(lightness, dtype=np.float32)


def _extent(view: TableView, height_mm: float) -> tuple[Floats, Floats]:
    """Return the lowest and highest table place that the photo shows near the sheets."""
    lens = view.camera.lens
    along = np.linspace(0.0, 1.0, 25)
    right, down = lens.width_px - 1.0, lens.height_px - 1.0
    rim = np.concatenate(
        [
            np.column_stack([along * right, np.zeros(25)]),
            np.column_stack([along * right, np.full(25, down)]),
            np.column_stack([np.zeros(25), along * down]),
            np.column_stack([np.full(25, right), along * down]),
        ]
    )
    middles = np.array([pose.translation_mm[:2] for _, pose in view.sheets])
    low, high = middles.min(axis=0) - _REACH_MM, middles.max(axis=0) + _REACH_MM
    rays = view.on_table(rim, height_mm)
    # A photo that reaches the horizon shows places behind the camera; only a tilt far beyond
    # what is accepted does.
    behind = view.camera.camera_from_world.apply(
        np.column_stack([rays, np.full(len(rays), height_mm)])
    )[:, 2]
    shown = rays[behind > 0]
    if len(shown) == len(rays):
        low, high = np.maximum(low, shown.min(axis=0)), np.minimum(high, shown.max(axis=0))
    return low, high


def _footprint_mm(view: TableView, height_mm: float) -> float:
    """Return the side of a photo's pixel on the table, amid the sheets."""
    middle = np.mean([pose.translation_mm[:2] for _, pose in view.sheets], axis=0)
    around = middle + np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]])
    pixels = view.pixels(around, height_mm)
    spread = pixels[1:] - pixels[0]
    return float(1.0 / np.sqrt(abs(np.linalg.det(spread))))


def _fine(pixels: NDArray[np.float32], pixel_mm: float, footprint: float) -> Bools:
    down, right = np.gradient(pixels, axis=0), np.gradient(pixels, axis=1)
    area = np.abs(down[:, :, 0] * right[:, :, 1] - down[:, :, 1] * right[:, :, 0])
    own = pixel_mm / np.sqrt(np.maximum(area, 1e-9))
    fine: Bools = own < _COARSEST * max(footprint, 1e-9)
    return fine


def _paper(view: TableView, points: Floats) -> Bools:
    covered = np.zeros(len(points), dtype=np.bool_)
    for sheet, pose in view.sheets:
        if isinstance(sheet, MarkerSheet):
            half = 0.5 * np.array([sheet.paper.width_mm, sheet.paper.height_mm])
        else:
            # A tag of the maker's own with its white rim of one square.
            half = np.full(2, 0.5 * sheet.tag_side_mm * (1.0 + 2.0 / sheet.cells_across))
        own = (points - pose.translation_mm[:2]) @ pose.rotation[:2, :2]
        covered |= np.all(np.abs(own) <= half + _PAPER_RIM_MM, axis=1)
    return covered
