"""Marker sheets as a fine raster, the way a laser printer would lay them down."""

from __future__ import annotations

from functools import lru_cache

import cv2
import numpy as np

from fitkit.capture.marker_sheet import MarkerSheet
from fitkit.geometry.arrays import Bytes

__all__ = ["CELLS_PER_MM", "printed_sheet"]

CELLS_PER_MM = 4
"""Every edge of tag (18.75 mm modules) and saddles falls between two cells."""


def printed_sheet(sheet: MarkerSheet) -> Bytes:
    """(height * 4, width * 4) uint8, 0 black, top edge of the paper first."""
    return _printed(sheet.paper.name, sheet.number)


@lru_cache(maxsize=32)
def _printed(paper: str, number: int) -> Bytes:
    from fitkit.capture.marker_sheet import marker_sheet

    sheet = marker_sheet(paper, number)
    width = round(sheet.paper.width_mm * CELLS_PER_MM)
    height = round(sheet.paper.height_mm * CELLS_PER_MM)
    raster = np.full((height, width), 255, dtype=np.uint8)

    def cell(x_mm: float, y_mm: float) -> tuple[int, int]:
        return round(width / 2 + x_mm * CELLS_PER_MM), round(height / 2 - y_mm * CELLS_PER_MM)

    side = round(sheet.tag_side_mm * CELLS_PER_MM)
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    tag = cv2.aruco.generateImageMarker(dictionary, sheet.tag_id, 8, borderBits=1)
    left, top = cell(-sheet.tag_side_mm / 2, sheet.tag_side_mm / 2)
    raster[top : top + side, left : left + side] = np.kron(
        tag, np.ones((side // 8, side // 8), dtype=np.uint8)
    )
    half = round(sheet.saddle_half_mm * CELLS_PER_MM)
    for x_mm, y_mm, _ in sheet.saddles_mm():
        column, row = cell(x_mm, y_mm)
        raster[row - half : row, column - half : column] = 0
        raster[row : row + half, column : column + half] = 0
    # arrow towards the top edge and a number, so that the sheet reads as one
    tip, head, tail = sheet.saddles_mm()[0, 1] + 14.0, 12.0, 24.0
    arrow = [(0.0, tip), (-head, tip - head), (head, tip - head)]
    cv2.fillPoly(raster, [np.array([cell(*p) for p in arrow], dtype=np.int32)], 0)
    cv2.rectangle(raster, cell(-3.0, tip - head), cell(3.0, tip - tail), 0, -1)
    corner = cell(-26.0, -(sheet.saddles_mm()[0, 1] + 6.0))
    cv2.putText(
        raster, f"{paper} {number}", corner, cv2.FONT_HERSHEY_SIMPLEX, 2.6, 0, 7, cv2.LINE_8
    )
    raster.flags.writeable = False
    return raster
