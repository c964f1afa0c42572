"""A square tag as black areas to print."""

from __future__ import annotations

import numpy as np
import shapely

from fitkit.drawing.drawing import Fill
from fitkit.geometry.arrays import Floats

__all__ = ["TAG_MODULES", "tag_fills"]

TAG_MODULES = 8
"""Modules across a tag's black square, its border among them."""


def tag_fills(tag_id: int, side_mm: float) -> list[Fill]:
    """Return the black areas of an AprilTag 36h11 about the origin, upright."""
    import cv2

    family = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    image = family.generateImageMarker(tag_id, TAG_MODULES, borderBits=1)
    black = np.asarray(image) < 128
    module = side_mm / TAG_MODULES
    half = side_mm / 2.0
    squares = [
        shapely.box(
            -half + column * module,
            half - (row + 1) * module,
            -half + (column + 1) * module,
            half - row * module,
        )
        for row, column in np.argwhere(black)
    ]
    merged = shapely.union_all(squares)
    return [Fill(_without_holes(part, module)) for part in shapely.get_parts(merged)]


def _without_holes(area: shapely.Polygon, module: float) -> Floats:
    """Return one outline (N, 2) that fills like a polygon of square modules with holes.

    Each hole is reached by a level cut of no width through black modules only, out and back, so
    that neither a reader that widens such cuts nor one that drops them shows anything.
    """
    area = shapely.orient_polygons(area)
    path: Floats = shapely.get_coordinates(area.exterior)[:-1]
    # from left to right: what a cut meets further left is joined already
    for ring in sorted(area.interiors, key=lambda r: r.bounds[0]):
        hole = shapely.get_coordinates(ring)[:-1]
        x = hole[:, 0].min()
        ends = np.roll(hole, -1, axis=0)
        leftmost = np.flatnonzero((np.abs(hole[:, 0] - x) < 1e-6) & (np.abs(ends[:, 0] - x) < 1e-6))
        first = int(leftmost[0])
        # half a module from a corner: never level with another corner
        y = min(hole[first, 1], ends[first, 1]) + module / 2.0
        start = np.array([x, y])
        following = np.roll(path, -1, axis=0)
        spans = (np.minimum(path[:, 1], following[:, 1]) < y) & (
            y < np.maximum(path[:, 1], following[:, 1])
        )
        met = np.flatnonzero(spans & (path[:, 0] < x - 1e-6))
        at = int(met[np.argmax(path[met, 0])])
        landing = np.array([path[at, 0], y])
        round_hole = np.roll(hole, -(first + 1), axis=0)
        cut = np.vstack([landing, start, round_hole, start, landing])
        path = np.insert(path, at + 1, cut, axis=0)
    return path
