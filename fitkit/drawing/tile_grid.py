"""Covering one large part with equal overlapping tiles, as few as will do."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from fitkit.drawing.drawing import Drawing
from fitkit.drawing.part_content import PartContent, extent_mm
from fitkit.geometry.arrays import Floats

__all__ = ["TileGrid", "cover_with_tiles", "tile_name"]

# Thick lines must not end up half outside a tile.
_RIM_MM = 1.0
# Where the grid may lie within the room to spare, the middle first.
_PHASES = (0.5, 0.0, 0.25, 0.75, 1.0)
# A strip narrower than this at a tile's border holds nothing that its neighbour does not show.
_STRIP_MM = 0.01


def tile_name(row: int, column: int) -> str:
    """Return a tile's place: row letter from the top, column number from the left.

    Examples
    --------
    >>> tile_name(0, 1), tile_name(27, 0)
    ('A2', 'AB1')
    """
    letters = ""
    row += 1
    while row:
        row, rest = divmod(row - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return f"{letters}{column + 1}"


@dataclass(frozen=True, slots=True, eq=False)
class TileGrid:
    """The tiles of one part.

    Attributes
    ----------
    turned
        Whether the part is turned by a quarter counter-clockwise before it is tiled.
    windows_mm
        Lowest and highest corner, (2, 2) float mm in the (turned) part, by (row, column); rows
        count from the top. Tiles that would show nothing of their own are left out.
    """

    turned: bool
    windows_mm: Mapping[tuple[int, int], Floats] = field(default_factory=dict)


def cover_with_tiles(
    drawing: Drawing, *, tile_mm: tuple[float, float], overlap_mm: float
) -> TileGrid:
    """Return the fewest tiles that show all of a part.

    Both ways up and several places of the grid are tried; of equally few tiles those are taken
    that cut the fewest words apart. A tile is left out when all it
    would show is shown by its neighbours too. Tiles that lie wholly inside the outline are
    kept although nothing is drawn on them: they hold the template together.

    Parameters
    ----------
    drawing
        The part.
    tile_mm
        Width and height a page can show.
    overlap_mm
        How much of the part two neighbours both show.
    """
    best: tuple[tuple[int, int, int, float], TileGrid] | None = None
    for turned in (False, True):
        placed = drawing.moved(np.zeros(2), turn_rad=math.pi / 2.0) if turned else drawing
        content = PartContent(placed)
        low, high = extent_mm(placed) + np.array([[-_RIM_MM], [_RIM_MM]])
        steps = np.asarray(tile_mm) - overlap_mm
        counts = np.maximum(np.ceil((high - low - overlap_mm) / steps - 1e-9).astype(int), 1)
        spare = counts * steps + overlap_mm - (high - low)
        for phase_y in _PHASES:
            for phase_x in _PHASES:
                corner = low - np.array([phase_x, phase_y]) * spare
                windows = _needed_windows(content, corner, counts, tile_mm, overlap_mm)
                off_centre = abs(phase_x - 0.5) + abs(phase_y - 0.5)
                torn = _words_torn(content, windows)
                rank = (len(windows), int(turned), torn, off_centre)
                if best is None or rank < best[0]:
                    best = (rank, TileGrid(turned, windows))
    assert best is not None
    return best[1]


def _words_torn(content: PartContent, windows: Mapping[tuple[int, int], Floats]) -> int:
    """Count words that no single tile shows whole."""
    low = np.array([w[0] for w in windows.values()])
    high = np.array([w[1] for w in windows.values()])
    boxes = shapely.box(low[:, 0], low[:, 1], high[:, 0], high[:, 1])
    return sum(
        not shapely.contains(boxes, words).any() for words in shapely.get_parts(content.words)
    )


def _needed_windows(
    content: PartContent,
    corner: Floats,
    counts: np.ndarray,
    tile_mm: tuple[float, float],
    overlap_mm: float,
) -> dict[tuple[int, int], Floats]:
    """Windows by (row, column) that show something no other kept window shows."""
    size = np.asarray(tile_mm)
    windows: dict[tuple[int, int], Floats] = {}
    columns, rows = int(counts[0]), int(counts[1])
    for row in range(rows):
        for column in range(columns):
            low = corner + np.array([column, rows - 1 - row]) * (size - overlap_mm)
            windows[row, column] = np.stack([low, low + size])
    # Border tiles first: those inside can only be left out when their neighbours show it all.
    for place in sorted(
        windows, key=lambda p: (min(p[0], rows - 1 - p[0], p[1], columns - 1 - p[1]), p)
    ):
        if not content.touches(_shown_alone(windows, place, overlap_mm)):
            del windows[place]
    return windows


def _shown_alone(
    windows: Mapping[tuple[int, int], Floats], place: tuple[int, int], overlap_mm: float
) -> BaseGeometry:
    """Return what of a tile none of the eight round it shows too."""
    row, column = place
    (x0, y0), (x1, y1) = windows[place]
    left, right = (row, column - 1) in windows, (row, column + 1) in windows
    above, below = (row - 1, column) in windows, (row + 1, column) in windows
    x0, x1 = x0 + left * overlap_mm + _STRIP_MM, x1 - right * overlap_mm - _STRIP_MM
    y0, y1 = y0 + below * overlap_mm + _STRIP_MM, y1 - above * overlap_mm - _STRIP_MM
    own: BaseGeometry = shapely.box(x0, y0, x1, y1)
    # Where only a tile across the corner is left, it still shows that corner.
    for aside, upright, x, y, corner in (
        (left, above, x0, y1, (row - 1, column - 1)),
        (right, above, x1, y1, (row - 1, column + 1)),
        (left, below, x0, y0, (row + 1, column - 1)),
        (right, below, x1, y0, (row + 1, column + 1)),
    ):
        if not (aside or upright) and corner in windows:
            reach = overlap_mm
            own = own.difference(shapely.box(x - reach, y - reach, x + reach, y + reach))
    return own
