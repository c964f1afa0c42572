"""A laid sheet as a drawing: true to scale for the cutter, and small on a page to mark out by."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace

import numpy as np
import shapely

from fitkit.drawing.drawing import Drawing, Hole, Layer, Stroke, TextAnchor, Words, merge_drawings
from fitkit.drawing.paper import PAPERS, Paper
from fitkit.drawing.text_width import shortened, text_width_mm, words_box_mm, wrapped
from fitkit.geometry.arrays import Floats
from fitkit.sheets.nesting import LaidSheet, NestRules, PlacedPart
from fitkit.sheets.offcuts import Offcut
from fitkit.template.free_space import FreeSpace

__all__ = ["LAYOUT_PAPER", "cutter_drawing", "layout_page"]

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
_CUTTER_WORDS_MM = (8.0, 6.0, 4.0, 3.0)
# A title keeps so far from lines, holes and words.
_CLEAR_MM = 1.0
# Lines of a template that may lie beside its part: a small part's words with frame and leader.
_BESIDE = (Layer.MARK, Layer.WORDS)


def cutter_drawing(
    sheet: LaidSheet, templates: Mapping[int, Drawing], offcuts: Iterable[Offcut]
) -> Drawing:
    """Return a sheet true to scale, the sheet's lower left at the origin.

    Cuts, holes, bends and marks of every template come with it, and those words that stand wholly
    on their part. The sheet's own edge, bad zones and what is to be kept are on the layer of the
    paper, which no cutter follows.
    """
    drawings = [_sheet_lines(sheet, offcuts)]
    for placed in sheet.placed:
        drawings.append(_placed(placed, templates[placed.part.number]))
    return merge_drawings(sheet.title, drawings)


def _sheet_lines(sheet: LaidSheet, offcuts: Iterable[Offcut]) -> Drawing:
    kept = [offcut.outline_mm for offcut in offcuts]
    rings = [sheet.stock.outline_mm, *sheet.stock.bad_zones_mm, *kept]
    words = [
        replace(one, layer=Layer.PAPER)
        for ring in kept
        for one in _fitted([["keep"]], shapely.Polygon(ring), _CUTTER_WORDS_MM)
    ]
    return Drawing(
        sheet.title,
        strokes=tuple(Stroke(ring, Layer.PAPER, closed=True) for ring in rings),
        words=tuple(words),
    )


def _placed(placed: PlacedPart, drawing: Drawing) -> Drawing:
    polygon = placed.polygon()
    near = polygon.buffer(0.5)
    shapely.prepare(near)
    strokes = [replace(one, points_mm=placed.on_sheet(one.points_mm)) for one in drawing.strokes]
    strokes = [
        one
        for one in strokes
        if one.layer not in _BESIDE or near.covers(shapely.LineString(one.points_mm))
    ]
    holes = [
        Hole(placed.on_sheet(hole.centre_mm[None, :])[0], hole.diameter_mm, hole.layer)
        for hole in drawing.holes
    ]
    words: list[Words] = []
    if not placed.mirrored:
        turned = drawing.moved(placed.shift_mm, turn_rad=placed.turn_rad).words
        words = [one for one in turned if polygon.covers(shapely.Polygon(words_box_mm(one)))]
    if not any(str(placed.part.number) in one.text.split() for one in words):
        words += _title(placed, _left_free(polygon, strokes, holes, words), _CUTTER_WORDS_MM)
    return Drawing(placed.part.title, tuple(strokes), holes=tuple(holes), words=tuple(words))


def _left_free(
    polygon: shapely.Polygon,
    strokes: Iterable[Stroke],
    holes: Iterable[Hole],
    words: Iterable[Words],
) -> shapely.Geometry:
    """Return what is left of a part beside its lines, holes and words."""
    taken = [shapely.LineString(one.points_mm).buffer(_CLEAR_MM) for one in strokes]
    taken += [shapely.Point(one.centre_mm).buffer(0.5 * one.diameter_mm + _CLEAR_MM)
              for one in holes]  # fmt: skip
    taken += [shapely.Polygon(words_box_mm(one)).buffer(_CLEAR_MM) for one in words]
    free = polygon.difference(shapely.union_all(taken))
    return polygon if free.is_empty else free


def _title(
    placed: PlacedPart, polygon: shapely.Polygon, heights_mm: Sequence[float]
) -> list[Words]:
    """Return number and name where they fit upright on a part, else the number alone."""
    part = placed.part
    lines = [str(part.number), *part.title.split(", "), *_remarks(placed)]
    whole = [[" ".join(lines[:2]), *lines[2:]], lines]
    found = _fitted(whole, polygon, heights_mm) or _fitted([lines[:1]], polygon, heights_mm)
    at = shapely.get_coordinates(polygon.representative_point())[0]
    return found or _stacked(lines[:1], at, heights_mm[-1])


def _remarks(placed: PlacedPart) -> list[str]:
    return ["outside down"] * placed.mirrored + ["pinned"] * placed.pinned


def _fitted(
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
            _title(placed, shapely.transform(polygon, small), _TITLE_HEIGHTS_MM)
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
        size = " × ".join(f"{one:.0f}" for one in offcut.stock.size_mm)
        words += _fitted([[f"keep {size}"], ["keep", size]], shape, _TITLE_HEIGHTS_MM)
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
        ", ".join([f"{placed.part.number} {placed.part.title}", *_remarks(placed)])
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
        way = np.array([math.cos(stock.grain_rad), math.sin(stock.grain_rad)])
        middle = np.array([paper.width_mm - _MARGIN_MM - 10.0, top - 3.0])
        barb = np.array([[c, s] for c, s in ((-1.0, 0.5), (0.0, 0.0), (-1.0, -0.5))]) * 2.5
        across = np.array([-way[1], way[0]])
        tip = middle + 7.0 * way
        strokes = [
            Stroke(np.stack([middle - 7.0 * way, tip]), Layer.GRAIN),
            Stroke(barb @ np.stack([way, across]) + tip, Layer.GRAIN),
        ]
        words.append(Words("grain", middle - np.array([9.0, 0.9]), 2.2, 0.0, TextAnchor.RIGHT))
    return words, strokes
