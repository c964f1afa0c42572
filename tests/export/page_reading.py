"""Printed pages read back: rasterised by PDFium and measured."""

from __future__ import annotations

import numpy as np
import pypdfium2 as pdfium

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
