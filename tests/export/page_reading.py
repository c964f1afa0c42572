"""Printed pages read back: rasterised by PDFium and measured."""

from __future__ import annotations

import numpy as np
import pypdfium2 as pdfium

from fitkit.drawing.page import Page
from fitkit.drawing.page_furniture import CHECK_SIDES_MM
from fitkit.geometry.arrays import Bytes, Floats

POINTS_PER_MM = 72.0 / 25.4


def raster(page: pdfium.PdfPage, *, dpi: float, low_mm: Floats, high_mm: Floats) -> Bytes:
    """(H, W) uint8 grey of a piece of the page; row 0 is its upper edge.

    The piece must begin on whole points, so that pixels start where it starts.
    """
    width, height = page.get_size()
    low, high = low_mm * POINTS_PER_MM, high_mm * POINTS_PER_MM
    crop = (float(low[0]), float(low[1]), float(width - high[0]), float(height - high[1]))
    image = page.render(scale=dpi / 72.0, crop=crop, grayscale=True)
    picture: Bytes = image.to_numpy().reshape(image.height, image.width)
    return picture


def darkest_place(profile: Floats, about: float, reach: float) -> float:
    """Return the centre of gravity of what is dark near a place, in samples."""
    low, high = int(about - reach), int(about + reach) + 1
    dark = np.clip(235.0 - profile[low:high], 0.0, None)
    assert dark.sum() > 0, "no line there"
    return float((dark * np.arange(low, high)).sum() / dark.sum())


def check_square_of(page: Page) -> tuple[Floats, float]:
    """Return where a page's check square begins, and its side as drawn."""
    for stroke in page.furniture.strokes:
        size = np.ptp(stroke.points_mm, axis=0)
        for side in CHECK_SIDES_MM:
            if stroke.closed and np.allclose(size, side, rtol=0, atol=1e-9):
                return stroke.points_mm.min(axis=0), side
    raise AssertionError("no check square")


def measured_square_mm(sheet: pdfium.PdfPage, page: Page) -> tuple[float, float]:
    """Width and height of the printed check square at 1200 dpi, read between its ticks.

    A square of 50 mm is told as one of 100.
    """
    px_per_mm = 1200.0 / 25.4
    low, true_side = check_square_of(page)
    corner = np.floor((low - 3.0) * POINTS_PER_MM) / POINTS_PER_MM
    size = np.ceil((true_side + 6.0) * POINTS_PER_MM) / POINTS_PER_MM
    grey = raster(sheet, dpi=1200.0, low_mm=corner, high_mm=corner + size).astype(np.float64)
    offset = (low - corner) * px_per_mm
    side = true_side * px_per_mm
    reach = 0.4 * px_per_mm
    spots = [side * f for f in (0.13, 0.27, 0.33, 0.62, 0.77, 0.88)]
    widths, heights = [], []
    for spot in spots:
        row = grey[int(grey.shape[0] - offset[1] - spot)]
        column = grey[::-1, int(offset[0] + spot)]
        for line, start, into in ((row, offset[0], widths), (column, offset[1], heights)):
            first = darkest_place(line, start, reach)
            into.append(darkest_place(line, start + side, reach) - first)
    scale = 100.0 / side
    return scale * float(np.median(widths)), scale * float(np.median(heights))
