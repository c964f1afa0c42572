"""A laid sheet small on a page, to mark out by."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence

import numpy as np
import shapely

from fitkit.drawing.drawing import Drawing, Layer, Stroke, TextAnchor, Words
from fitkit.drawing.paper import PAPERS, Paper
from fitkit.drawing.text_width import shortened, words_box_mm, wrapped
from fitkit.geometry.arrays import Floats
from fitkit.sheets.nesting import LaidSheet, NestRules
from fitkit.sheets.offcuts import Offcut
from fitkit.sheets.sheet_words import fitted_words, grain_arrow, part_words, remarks, words_to_keep

__all__ = ["LAYOUT_PAPER", "layout_page"]

LAYOUT_PAPER = PAPERS["A4"].across()
"""The page a layout is drawn on where no other is told."""

_MARGIN_MM = 12.0
_HEAD_MM = 17.0
_RULER_MM = 7.0
_SCALES = (1, 2, 2.5, 3, 4, 5, 6, 7, 8, 9, 10, 12, 15, 20, 25, 30, 40, 50)
_ROW_MM = 3.8
_BELOW_MM = 2.4
_GRID_MM = 100.0
_LEAST_WORDS_MM = 1.8
_TITLE_HEIGHTS_MM = (3.2, 2.6, 2.1, _LEAST_WORDS_MM)


def layout_page(
    sheet: LaidSheet,
    rules: NestRules,
    offcuts: Iterable[Offcut],
    *,
    job_name: str,
    place: tuple[int, int],
    paper: Paper = LAYOUT_PAPER,
) -> Drawing:
    """Return a sheet on a page, as large as fits.

    With a ruler along two edges and a grid of 100 mm to mark out by, every part's number and name,
    those too narrow for their name told below, what to keep of the rest, and how well the sheet is
    used. ``place`` is which of how many.
    """
    length, width = sheet.stock.size_mm
    polygons = [placed.polygon() for placed in sheet.placed]
    rows: list[str] = []
    reserved = -1
    while len(rows) > reserved:  # drawn smaller, more parts may be too narrow for their name
        reserved = len(rows)
        small, scale, corner = _drawn_small(length, width, paper, reserved)
        titles = [
            part_words(placed, shapely.transform(polygon, small), _TITLE_HEIGHTS_MM)
            for placed, polygon in zip(sheet.placed, polygons, strict=True)
        ]
        rows = _names_below(sheet, titles, paper)
    foot = corner - [_RULER_MM, _RULER_MM + _ROW_MM]
    below = [Words(row, foot - [0.0, i * _ROW_MM], _BELOW_MM) for i, row in enumerate(rows)]
    strokes = [Stroke(small(sheet.stock.outline_mm), Layer.MARK, closed=True)]
    words = [*below, *(one for title in titles for one in title)]
    free = sheet.stock.polygon()
    for zone in sheet.stock.bad_zones_mm:
        strokes.append(Stroke(small(zone), Layer.MARK, closed=True))
        bad = shapely.Polygon(small(zone)).buffer(0)
        strokes += _hatched(bad)
        under = np.array([0.5 * (bad.bounds[0] + bad.bounds[2]), bad.bounds[1] - 3.0])
        words.append(Words("keep off", under, _LEAST_WORDS_MM, 0.0, TextAnchor.CENTRE))
        free = free.difference(shapely.Polygon(zone).buffer(0))
    for polygon in polygons:
        free = free.difference(polygon)
        for ring in shapely.get_rings(shapely.transform(polygon, small)):
            points = shapely.get_coordinates(ring)[:-1]
            strokes.append(Stroke(points, Layer.CUT, closed=True))
    for offcut in offcuts:
        shape = shapely.Polygon(small(offcut.outline_mm))
        strokes.append(Stroke(small(offcut.outline_mm), Layer.BEND, closed=True))
        words += fitted_words(words_to_keep(offcut), shape, _TITLE_HEIGHTS_MM)
    # The grid stops short of words.
    boxes = [shapely.Polygon((words_box_mm(one) - corner) * scale) for one in words]
    free = free.difference(shapely.union_all([box.buffer(scale) for box in boxes]))
    strokes += [Stroke(small(line), Layer.PAPER) for line in _grid(free, length, width)]
    rulers, numbers = _rulers(length, width, scale, corner)
    head, grain = _head(sheet, rules, scale, job_name, place, paper)
    return Drawing(
        f"{job_name}: {sheet.title}",
        strokes=(*strokes, *rulers, *grain),
        words=(*words, *numbers, *head),
    )


def _drawn_small(
    length: float, width: float, paper: Paper, rows_below: int
) -> tuple[Callable[[Floats], Floats], float, Floats]:
    """Return how a sheet comes onto the page, under the head: its scale and its corner."""
    room = np.array([paper.width_mm, paper.height_mm]) - 2 * _MARGIN_MM
    room -= [_RULER_MM, _HEAD_MM + _RULER_MM + rows_below * _ROW_MM]
    needed = max(length / room[0], width / room[1])
    scale = next((one for one in _SCALES if one >= needed), math.ceil(needed))
    top = paper.height_mm - _MARGIN_MM - _HEAD_MM
    corner = np.array([_MARGIN_MM + _RULER_MM, top - width / scale])

    def small(points: Floats) -> Floats:
        made: Floats = np.asarray(points) / scale + corner
        return made

    return small, scale, corner


def _names_below(sheet: LaidSheet, titles: Iterable[Sequence[Words]], paper: Paper) -> list[str]:
    """Return rows with the names of the parts that bear their number alone."""
    told = [
        ", ".join([f"{placed.part.number} {placed.part.title}", *remarks(placed)])
        for placed, title in zip(sheet.placed, titles, strict=True)
        if [one.text for one in title] == [str(placed.part.number)]
    ]
    return wrapped(" · ".join(told), _BELOW_MM, paper.width_mm - 2 * _MARGIN_MM) if told else []


def _hatched(area: shapely.Geometry) -> list[Stroke]:
    """Return slanting lines over an area, 2 mm apart on the page."""
    x0, y0, x1, y1 = area.bounds
    high = y1 - y0
    slants = [shapely.LineString([(x, y0), (x + high, y1)]) for x in np.arange(x0 - high, x1, 2.8)]
    pieces = [one for slant in slants for one in shapely.get_parts(slant.intersection(area))]
    return [
        Stroke(shapely.get_coordinates(piece), Layer.PAPER)
        for piece in pieces
        if piece.geom_type == "LineString" and piece.length > 0.1
    ]


def _grid(free: shapely.Geometry, length: float, width: float) -> list[Floats]:
    """Return the grid where no part lies, so that it is not taken for a cut."""
    lines = [
        shapely.LineString([(x, 0.0), (x, width)]) for x in np.arange(_GRID_MM, length, _GRID_MM)
    ]
    lines += [
        shapely.LineString([(0.0, y), (length, y)]) for y in np.arange(_GRID_MM, width, _GRID_MM)
    ]
    found = []
    for line in lines:
        for piece in shapely.get_parts(line.intersection(free)):
            if piece.geom_type == "LineString" and piece.length > 1.0:
                found.append(shapely.get_coordinates(piece))
    return found


def _rulers(
    length: float, width: float, scale: float, corner: Floats
) -> tuple[list[Stroke], list[Words]]:
    """Return ticks each 100 mm along two edges, numbered as often as there is room."""
    strokes, words = [], []
    every = next(step for step in (1, 2, 5, 10, 20) if step * _GRID_MM / scale > 8.0)
    for axis, whole in ((0, length), (1, width)):
        along, out = np.eye(2)[axis], -np.eye(2)[1 - axis]
        for index in range(int(whole // _GRID_MM) + 1):
            numbered = index % every == 0
            foot = corner + along * index * _GRID_MM / scale
            tick = 2.0 if numbered else 1.0
            strokes.append(Stroke(np.stack([foot, foot + out * tick]), Layer.MARK))
            if numbered:
                at = foot + out * (5.0 if axis == 0 else 2.6) - [0.0, 0.0 if axis == 0 else 0.9]
                anchor = TextAnchor.CENTRE if axis == 0 else TextAnchor.RIGHT
                text = f"{index * _GRID_MM:.0f}"
                words.append(Words(text, at, 1.9, 0.0, anchor, Layer.PAPER))
    return strokes, words


def _head(
    sheet: LaidSheet,
    rules: NestRules,
    scale: float,
    job_name: str,
    place: tuple[int, int],
    paper: Paper,
) -> tuple[list[Words], list[Stroke]]:
    stock = sheet.stock
    length, width = stock.size_mm
    top = paper.height_mm - _MARGIN_MM
    room = paper.width_mm - 2 * _MARGIN_MM
    title = f"{job_name} · sheet {place[0]} of {place[1]}: {sheet.title}"
    facts = ["to buy"] if stock.quantity is None else []
    facts += [
        f"{stock.material} {stock.thickness_mm:g} mm",
        f"{length:.0f} × {width:.0f} mm",
        f"{len(sheet.placed)} part{'s' * (len(sheet.placed) != 1)}",
        f"{100 * sheet.utilisation:.0f} % used",
        f"parts reach {sheet.used_length_mm:.0f} mm",
        f"gap {rules.gap_mm:g}, edge {rules.margin_mm:g} mm",
        f"drawn 1 : {scale:g}",
        "outside of each part up" + ", but where told" * any(one.mirrored for one in sheet.placed),
    ]
    words = [
        Words(shortened(title, 4.5, room), np.array([_MARGIN_MM, top - 4.5]), 4.5),
        Words(shortened(" · ".join(facts), 2.6, room), np.array([_MARGIN_MM, top - 10.5]), 2.6),
    ]
    strokes: list[Stroke] = []
    if stock.grain_rad is not None:
        middle = np.array([paper.width_mm - _MARGIN_MM - 10.0, top - 3.0])
        strokes = grain_arrow(middle, stock.grain_rad, 14.0, Layer.GRAIN)
        words.append(Words("grain", middle - np.array([9.0, 0.9]), 2.2, 0.0, TextAnchor.RIGHT))
    return words, strokes
