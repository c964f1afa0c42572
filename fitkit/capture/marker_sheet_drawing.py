"""A marker sheet as a drawing, ready for the printer."""

from __future__ import annotations

import math

import numpy as np

from fitkit.capture.marker_sheet import MarkerSheet
from fitkit.capture.tag_fills import TAG_MODULES, tag_fills
from fitkit.drawing.drawing import Drawing, Fill, Layer, Stroke, TextAnchor, Words
from fitkit.drawing.text_width import text_width_mm, wrapped
from fitkit.geometry.arrays import Floats

__all__ = ["PRINTER_MARGIN_MM", "marker_sheet_drawing"]

PRINTER_MARGIN_MM = 6.5
"""Nothing is drawn nearer to the paper's edge (office printers lose up to 6.4 mm: common
practice, no source)."""

# AprilTag 36h11: 6 x 6 data modules inside a black border one module wide.
_TICK_MM = 1.8
_TICK_AIR_MM = 0.3


def marker_sheet_drawing(sheet: MarkerSheet, *, of_count: int) -> Drawing:
    """Draw one sheet; the origin is the paper's lower left corner.

    Parameters
    ----------
    sheet
        The sheet.
    of_count
        How many sheets are printed together.

    Notes
    -----
    Modules that touch are one area, so that no hairline can show between them. The arrow on
    sheet 1 points to the paper's top edge, the way the wearer faces.
    """
    middle = np.array([sheet.paper.width_mm, sheet.paper.height_mm]) / 2.0
    strokes = [*_check_lines(sheet)]
    words = [*_check_words(sheet), *_instructions(sheet, of_count)]
    fills = [*tag_fills(sheet.tag_id, sheet.tag_side_mm), *_bow_ties(sheet)]
    if sheet.number == 1:
        arrow, said = _arrow(sheet)
        fills.append(arrow)
        words += said
    name = f"marker sheet {sheet.number}, {sheet.paper.name}"
    drawing = Drawing(name, tuple(strokes), tuple(fills), (), tuple(words))
    return drawing.moved(middle)


def _box(x0: float, y0: float, x1: float, y1: float) -> Fill:
    return Fill(np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]]))


def _bow_ties(sheet: MarkerSheet) -> list[Fill]:
    reach = sheet.saddle_half_mm
    boxes = []
    for x, y, _ in sheet.saddles_mm():
        boxes += [_box(x - reach, y, x, y + reach), _box(x, y - reach, x + reach, y)]
    return boxes


def _bow_tie_reach_mm(sheet: MarkerSheet) -> Floats:
    """(2,) float mm: how far the bow-ties reach from the sheet's middle in x and y."""
    reach: Floats = np.abs(sheet.saddles_mm()[:, :2]).max(axis=0) + sheet.saddle_half_mm
    return reach


def _printable_mm(sheet: MarkerSheet) -> Floats:
    """(2,) float mm: how far from the sheet's middle a printer is sure to print."""
    half = np.array([sheet.paper.width_mm, sheet.paper.height_mm]) / 2.0
    printable: Floats = half - PRINTER_MARGIN_MM
    return printable


def _quiet_mm(sheet: MarkerSheet) -> float:
    """Where the tag's blank rim of one module ends, from the sheet's middle."""
    return sheet.tag_side_mm / 2.0 + sheet.tag_side_mm / TAG_MODULES


def _check_line_places(sheet: MarkerSheet) -> tuple[float, float]:
    """Return y of the level check line and x of the upright one, each amid its free strip."""
    reach, printable = _bow_tie_reach_mm(sheet), _printable_mm(sheet)
    level_y = -(reach[1] + printable[1]) / 2.0
    upright_x = (max(reach[0], _quiet_mm(sheet)) + printable[0]) / 2.0
    return float(level_y), float(upright_x)


def _check_lines(sheet: MarkerSheet) -> list[Stroke]:
    y, x = _check_line_places(sheet)
    strip = _printable_mm(sheet)[1] - _bow_tie_reach_mm(sheet)[1]
    tick = min(_TICK_MM, strip / 2.0 - _TICK_AIR_MM)
    half_level, half_upright = sheet.check_mm[0] / 2.0, sheet.check_mm[1] / 2.0
    ends = [
        [[-half_level, y], [half_level, y]],
        [[-half_level, y - tick], [-half_level, y + tick]],
        [[half_level, y - tick], [half_level, y + tick]],
        [[x, -half_upright], [x, half_upright]],
        [[x - _TICK_MM, -half_upright], [x + _TICK_MM, -half_upright]],
        [[x - _TICK_MM, half_upright], [x + _TICK_MM, half_upright]],
    ]
    return [Stroke(np.array(line), Layer.MARK) for line in ends]


def _check_words(sheet: MarkerSheet) -> list[Words]:
    y, x = _check_line_places(sheet)
    level, upright = sheet.check_mm
    return [
        Words(f"check line: {level:g} mm", np.array([0.0, y + 1.6]), 2.8, anchor=TextAnchor.CENTRE),
        Words(
            f"check: {upright:g} mm", np.array([x + 1.2, upright / 2.0 + 3.0]), 2.5, math.pi / 2.0
        ),
    ]


def _between_bow_ties_mm(sheet: MarkerSheet) -> float:
    """Half the width that is free between left and right bow-ties, less a little air."""
    return float(sheet.saddles_mm()[1, 0]) - sheet.saddle_half_mm - 4.0


def _instructions(sheet: MarkerSheet, of_count: int) -> list[Words]:
    half = _between_bow_ties_mm(sheet)
    top = -_quiet_mm(sheet) - 5.0
    head = f"Marker sheet {sheet.number} of {of_count} · {sheet.paper.name} · tag {sheet.tag_id}"
    text = [
        "Print at 100 %, no fit to page; then measure both check lines.",
        "Lay the sheets flat, taped down, around the wearer, none covered. "
        "Sheet 1 lies in front, its arrow pointing the way the wearer faces.",
    ]
    height = 3.5 * min(1.0, 2.0 * half / text_width_mm(head, 3.5))
    words = [Words(head, np.array([-half, top]), height)]
    y = top - 6.2
    for paragraph in text:
        for line in wrapped(paragraph, 2.8, 2.0 * half):
            words.append(Words(line, np.array([-half, y]), 2.8))
            y -= 4.4
        y -= 0.6
    number_y = _quiet_mm(sheet) + 4.0
    words.append(Words(str(sheet.number), np.array([-half, number_y]), 24.0))
    return words


def _arrow(sheet: MarkerSheet) -> tuple[Fill, list[Words]]:
    """Arrow to the top edge beside the sheet's number, and what it means."""
    low = _quiet_mm(sheet) + 4.0
    high = min(_bow_tie_reach_mm(sheet)[1] + 4.0, _printable_mm(sheet)[1], low + 40.0)
    head, half_head, half_shaft = 0.5 * (high - low), 14.0, 6.0
    outline = np.array(
        [
            [-half_shaft, low],
            [half_shaft, low],
            [half_shaft, high - head],
            [half_head, high - head],
            [0.0, high],
            [-half_head, high - head],
            [-half_shaft, high - head],
        ]
    )
    words = [
        Words(line, np.array([half_shaft + 4.0, low + 5.0 - 4.5 * i]), 2.8)
        for i, line in enumerate(("the wearer", "faces this way"))
    ]
    return Fill(outline), words
