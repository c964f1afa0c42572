"""A laid sheet true to scale for the cutter."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

import numpy as np
import shapely

from fitkit.drawing.drawing import Drawing, Hole, Layer, Stroke, TextAnchor, Words, merge_drawings
from fitkit.drawing.text_width import words_box_mm
from fitkit.sheets.nesting import LaidSheet, PlacedPart
from fitkit.sheets.offcuts import Offcut
from fitkit.sheets.sheet_words import fitted_words, grain_arrow, part_words, words_to_keep
from fitkit.template.free_space import FreeSpace

__all__ = ["cutter_drawing"]

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
    on their part. The sheet's own edge, its grain, bad zones and what is to be kept are on the
    layer of the paper, which no cutter follows.
    """
    drawings = [_sheet_lines(sheet, offcuts)]
    for placed in sheet.placed:
        drawings.append(_placed(placed, templates[placed.part.number]))
    return merge_drawings(sheet.title, drawings)


def _sheet_lines(sheet: LaidSheet, offcuts: Iterable[Offcut]) -> Drawing:
    stock, words = sheet.stock, []
    rings = [stock.outline_mm, *stock.bad_zones_mm]
    for zone in stock.bad_zones_mm:
        shape = shapely.Polygon(zone).buffer(0)
        under = np.array([shape.centroid.x, shape.bounds[1] - 2.0 * _CUTTER_WORDS_MM[-1]])
        words += fitted_words([["keep off"], ["keep", "off"]], shape, _CUTTER_WORDS_MM) or [
            Words("keep off", under, _CUTTER_WORDS_MM[-1], 0.0, TextAnchor.CENTRE)
        ]
    for offcut in offcuts:
        rings.append(offcut.outline_mm)
        words += fitted_words(
            words_to_keep(offcut), shapely.Polygon(offcut.outline_mm), _CUTTER_WORDS_MM
        )
    arrow, told = _grain_on(sheet, words)
    return Drawing(
        sheet.title,
        strokes=(*(Stroke(ring, Layer.PAPER, closed=True) for ring in rings), *arrow),
        words=tuple(replace(one, layer=Layer.PAPER) for one in (*words, *told)),
    )


def _grain_on(sheet: LaidSheet, words: Iterable[Words]) -> tuple[list[Stroke], list[Words]]:
    """Return an arrow along the grain where the sheet is free, on the paper's layer; its word."""
    stock = sheet.stock
    if stock.grain_rad is None:
        return [], []
    taken = [one.polygon() for one in sheet.placed]
    taken += [shapely.Polygon(zone).buffer(0) for zone in stock.bad_zones_mm]
    taken += [shapely.Polygon(words_box_mm(one)).buffer(_CLEAR_MM) for one in words]
    free = stock.polygon().difference(shapely.union_all(taken))
    if free.is_empty:
        return [], []
    space = FreeSpace(free, 0.4 * _CUTTER_WORDS_MM[-1])
    for height in _CUTTER_WORDS_MM:
        arrow = 6.0 * height
        centre = space.roomiest_centre(arrow, arrow + 1.6 * height)
        if centre is not None:
            middle = centre - [0.0, 0.8 * height]
            at = middle + np.array([0.0, 0.5 * arrow])
            told = Words("grain", at, height, 0.0, TextAnchor.CENTRE)
            return grain_arrow(middle, stock.grain_rad, arrow, Layer.PAPER), [told]
    return [], []


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
    # Match marks have numbers too, and rivets are counted: the title alone tells the part.
    title = [str(placed.part.number), *placed.part.name.split()[:1]]
    if not any(one.text.split()[: len(title)] == title for one in words):
        words += part_words(placed, _left_free(polygon, strokes, holes, words), _CUTTER_WORDS_MM)
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
