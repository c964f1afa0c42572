"""Printed pages read back: rasterised by PDFium and measured."""

from __future__ import annotations

import numpy as np
import pypdfium2 as pdfium
import shapely

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
    """Return where a page's check square begins, and its side as drawn.

    Told by its words, for its sides are broken where they would meet what is drawn.
    """
    for words in page.furniture.words:
        for side in CHECK_SIDES_MM:
            if words.text.startswith(f"check: {side:g} mm"):
                return words.at_mm - (2.4, 2.6), side
    raise AssertionError("no check square")


def spots_on_both_sides_mm(page: Page, low: Floats, side: float, axis: int) -> list[float]:
    """Where, along its other sides, a square is drawn at both ends of ``axis``."""
    drawn = shapely.union_all(
        [
            shapely.LineString(np.vstack([one.points_mm, one.points_mm[:1]][: 1 + one.closed]))
            for one in page.furniture.strokes
        ]
    )
    across = np.eye(2)[axis]
    spots = [side * f for f in (0.13, 0.27, 0.33, 0.43, 0.47, 0.53, 0.57, 0.62, 0.67, 0.77, 0.88)]
    return [
        spot
        for spot in spots
        if all(
            drawn.distance(shapely.Point(low + spot * (1.0 - across) + end * across)) < 1e-6
            for end in (0.0, side)
        )
    ]


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
    widths, heights = [], []
    for axis, into in ((0, widths), (1, heights)):
        for spot_mm in spots_on_both_sides_mm(page, low, true_side, axis):
            spot = spot_mm * px_per_mm
            line = (
                grey[int(grey.shape[0] - offset[1] - spot)]
                if axis == 0
                else grey[::-1, int(offset[0] + spot)]
            )
            first = darkest_place(line, offset[axis], reach)
            into.append(darkest_place(line, offset[axis] + side, reach) - first)
    assert widths, "nothing drawn at both sides"
    assert heights, "nothing drawn above and below"
    scale = 100.0 / side
    return scale * float(np.median(widths)), scale * float(np.median(heights))
