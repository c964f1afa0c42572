"""What is told on a laid sheet: a part's number and name, what to keep, the way of the grain."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import shapely

from fitkit.drawing.drawing import Layer, Stroke, TextAnchor, Words
from fitkit.drawing.text_width import text_width_mm
from fitkit.geometry.arrays import Floats
from fitkit.sheets.nesting import PlacedPart
from fitkit.sheets.offcuts import Offcut
from fitkit.template.free_space import FreeSpace

__all__ = ["fitted_words", "grain_arrow", "part_words", "remarks", "words_to_keep"]

# Of an arrow's length so much is its head.
_BARB_SHARE = 0.18


def part_words(
    placed: PlacedPart, polygon: shapely.Polygon, heights_mm: Sequence[float]
) -> list[Words]:
    """Return number and name where they fit upright on a part, else the number alone."""
    part = placed.part
    lines = [str(part.number), *part.title.split(", "), *remarks(placed)]
    whole = [[" ".join(lines[:2]), *lines[2:]], lines]
    found = fitted_words(whole, polygon, heights_mm)
    found = found or fitted_words([lines[:1]], polygon, heights_mm)
    at = shapely.get_coordinates(polygon.representative_point())[0]
    return found or _stacked(lines[:1], at, heights_mm[-1])


def remarks(placed: PlacedPart) -> list[str]:
    """Return what else is told of a part: that it lies outside down, that it is pinned."""
    return ["outside down"] * placed.mirrored + ["pinned"] * placed.pinned


def fitted_words(
    choices: Sequence[Sequence[str]], shape: shapely.Polygon, heights_mm: Sequence[float]
) -> list[Words]:
    """Return the first choice of rows that fits a shape as large as any does; none if none."""
    space = FreeSpace(shape, 0.4 * heights_mm[-1])
    for height in heights_mm:
        for rows in choices:
            wide = max(text_width_mm(row, height) for row in rows)
            centre = space.roomiest_centre(wide, 1.6 * height * len(rows))
            if centre is not None:
                return _stacked(rows, centre, height)
    return []


def _stacked(rows: Sequence[str], centre: Floats, height: float) -> list[Words]:
    top = centre[1] + 0.8 * height * len(rows) - 1.3 * height
    return [
        Words(row, np.array([centre[0], top - 1.6 * height * i]), height, 0.0, TextAnchor.CENTRE)
        for i, row in enumerate(rows)
    ]


def words_to_keep(offcut: Offcut) -> list[list[str]]:
    """Return the rows that say to keep an offcut and its size, as one and as two."""
    size = " × ".join(f"{one:.0f}" for one in offcut.stock.size_mm)
    return [[f"keep {size}"], ["keep", size]]


def grain_arrow(middle: Floats, turn_rad: float, long_mm: float, layer: Layer) -> list[Stroke]:
    """Return an arrow about its middle: its shaft and its head."""
    way = np.array([math.cos(turn_rad), math.sin(turn_rad)])
    across = np.array([-way[1], way[0]])
    barb = np.array([[c, s] for c, s in ((-1.0, 0.5), (0.0, 0.0), (-1.0, -0.5))])
    tip = middle + 0.5 * long_mm * way
    return [
        Stroke(np.stack([middle - 0.5 * long_mm * way, tip]), layer),
        Stroke(_BARB_SHARE * long_mm * barb @ np.stack([way, across]) + tip, layer),
    ]
