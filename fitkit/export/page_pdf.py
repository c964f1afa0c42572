"""Pages as PDF, true to scale: every part is stored once and shown through windows."""

from __future__ import annotations

import math
from collections.abc import Sequence
from io import BytesIO
from typing import Any

import numpy as np

from fitkit.drawing.drawing import Drawing, Fill, Layer, Stroke, TextAnchor
from fitkit.drawing.line_style import LINE_STYLES, centre_cross_arm_mm
from fitkit.drawing.page import PageSet
from fitkit.drawing.paper import Paper
from fitkit.drawing.text_width import em_mm, font_file, text_width_mm
from fitkit.errors import InputError

__all__ = ["draw_on_canvas", "pdf_of_full_pages", "pdf_of_pages"]

_POINTS_PER_MM = 72.0 / 25.4
"""PDF's default unit is 1/72 inch (ISO 32000-1:2008, 8.3.2.3)."""

_FONT = "DejaVuSans"
# Later layers lie on top: what is cut must not disappear under what belongs to the paper.
_ORDER = (
    Layer.SOLID,
    Layer.PAPER,
    Layer.UNDERLAY,
    Layer.ART,
    Layer.GRAIN,
    Layer.MARK,
    Layer.EDGE,
    Layer.BEND,
    Layer.DRILL,
    Layer.CUT,
    Layer.WORDS,
)


def pdf_of_pages(pages: PageSet, *, printed_mm: tuple[float, float] = (100.0, 100.0)) -> bytes:
    """Return the pages as one PDF file.

    ``printed_mm`` is what the 100 mm check square measured, across and up, when the printer had its
    own way: every page is drawn larger or smaller about its middle by as much, so that the print
    comes out true.

    Words are set in an embedded subset of DejaVu Sans. The viewer is asked not to scale
    (PrintScaling None, ISO 32000-1:2008, table 150). The same pages give the same bytes.
    """
    buffer = BytesIO()
    canvas = _new_canvas(buffer, pages.title)
    for index, part in enumerate(pages.parts):
        low, high = _form_box(part)
        canvas.beginForm(
            f"part{index}", float(low[0]), float(low[1]), float(high[0]), float(high[1])
        )
        draw_on_canvas(canvas, part)
        canvas.endForm()
    for page in pages.pages:
        canvas.setPageSize(_points(page.paper))
        canvas.scale(_POINTS_PER_MM, _POINTS_PER_MM)
        if printed_mm != (100.0, 100.0):
            sx, sy = 100.0 / printed_mm[0], 100.0 / printed_mm[1]
            middle_x, middle_y = 0.5 * page.paper.width_mm, 0.5 * page.paper.height_mm
            canvas.transform(sx, 0, 0, sy, (1 - sx) * middle_x, (1 - sy) * middle_y)
        draw_on_canvas(canvas, page.furniture, {Layer.PAPER})
        for window in page.windows:
            (x0, y0), (x1, y1) = window.clip_mm
            canvas.saveState()
            clip = canvas.beginPath()
            clip.rect(float(x0), float(y0), float(x1 - x0), float(y1 - y0))
            canvas.clipPath(clip, stroke=0, fill=0)
            c, s = (0, 1) if window.turned else (1, 0)
            canvas.transform(c, s, -s, c, float(window.shift_mm[0]), float(window.shift_mm[1]))
            canvas.doForm(f"part{window.part}")
            canvas.restoreState()
        draw_on_canvas(canvas, page.furniture, set(Layer) - {Layer.PAPER})
        canvas.showPage()
    canvas.save()
    return buffer.getvalue()


def pdf_of_full_pages(drawings: Sequence[Drawing], papers: Sequence[Paper]) -> bytes:
    """Return one page for each drawing, each on its own paper, lower left corners together.

    Raises
    ------
    InputError
        When there is nothing to print or not one paper for each drawing.
    """
    if not drawings or len(drawings) != len(papers):
        raise InputError(
            f"There are {len(drawings)} drawings and {len(papers)} papers.",
            "Give one paper for each drawing.",
        )
    buffer = BytesIO()
    canvas = _new_canvas(buffer, drawings[0].name)
    for drawing, paper in zip(drawings, papers, strict=True):
        canvas.setPageSize(_points(paper))
        canvas.scale(_POINTS_PER_MM, _POINTS_PER_MM)
        draw_on_canvas(canvas, drawing)
        canvas.showPage()
    canvas.save()
    return buffer.getvalue()


def _points(paper: Paper) -> tuple[float, float]:
    return paper.width_mm * _POINTS_PER_MM, paper.height_mm * _POINTS_PER_MM


def _new_canvas(buffer: BytesIO, title: str) -> Any:
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont
    from reportlab.pdfgen.canvas import Canvas

    pdfmetrics.registerFont(TTFont(_FONT, font_file()))
    canvas = Canvas(buffer, pageCompression=1, invariant=1, pdfVersion=(1, 6))
    canvas.setTitle(title)
    canvas.setCreator("fitkit")
    canvas.setViewerPreference("PrintScaling", "None")
    return canvas


def _form_box(part: Drawing) -> tuple[np.ndarray, np.ndarray]:
    """Everything of a part, wide enough for its lines and words."""
    clouds = [part.bounds_mm()]
    for words in part.words:
        reach = text_width_mm(words.text, words.height_mm) + 2.0 * words.height_mm
        clouds.append(np.array([words.at_mm - reach, words.at_mm + reach]))
    points = np.concatenate(clouds)
    return points.min(axis=0) - 2.0, points.max(axis=0) + 2.0


def draw_on_canvas(
    canvas: Any, drawing: Drawing, layers: set[Layer] | None = None, *, grey: bool = False
) -> None:
    """Draw in millimetres; the canvas is scaled already.

    ``grey`` draws every layer in black, or in grey what belongs to the paper.
    """
    for layer in _ORDER:
        if layers is not None and layer not in layers:
            continue
        style = LINE_STYLES[layer]
        strokes = [s for s in drawing.strokes if s.layer is layer]
        fills = [f for f in drawing.fills if f.layer is layer]
        holes = [h for h in drawing.holes if h.layer is layer]
        words = [w for w in drawing.words if w.layer is layer]
        if not (strokes or fills or holes or words):
            continue
        canvas.saveState()
        canvas.setLineWidth(style.width_mm)
        canvas.setDash(list(style.dash_mm))
        canvas.setLineJoin(1)
        canvas.setLineCap(0)
        rgb = (max(style.rgb) if layer is Layer.PAPER else 0.0,) * 3 if grey else style.rgb
        canvas.setStrokeColorRGB(*rgb)
        canvas.setFillColorRGB(*rgb)
        if fills:
            _draw_fills(canvas, fills)
        if strokes:
            _draw_strokes(canvas, strokes)
        for hole in holes:
            x, y = float(hole.centre_mm[0]), float(hole.centre_mm[1])
            arm = centre_cross_arm_mm(hole)
            canvas.circle(x, y, hole.diameter_mm / 2.0)
            canvas.line(x - arm, y, x + arm, y)
            canvas.line(x, y - arm, x, y + arm)
        for one in words:
            canvas.saveState()
            canvas.translate(float(one.at_mm[0]), float(one.at_mm[1]))
            canvas.rotate(math.degrees(one.angle_rad))
            canvas.setFont(_FONT, em_mm(one.height_mm))
            put = {
                TextAnchor.LEFT: canvas.drawString,
                TextAnchor.CENTRE: canvas.drawCentredString,
                TextAnchor.RIGHT: canvas.drawRightString,
            }[one.anchor]
            put(0, 0, one.text)
            canvas.restoreState()
        canvas.restoreState()


def _draw_fills(canvas: Any, fills: Sequence[Fill]) -> None:
    """Fill all areas as one path, so that no hairline shows where two of them touch."""
    from reportlab.pdfgen.canvas import FILL_NON_ZERO

    path = canvas.beginPath()
    for fill in fills:
        points = fill.points_mm
        x, y = points.T
        area = np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))
        # all one way round: areas that overlap then stay solid under the non-zero rule
        _trace(path, points if area > 0 else points[::-1], closed=True)
    canvas.drawPath(path, stroke=0, fill=1, fillMode=FILL_NON_ZERO)


def _draw_strokes(canvas: Any, strokes: Sequence[Stroke]) -> None:
    path = canvas.beginPath()
    for stroke in strokes:
        _trace(path, stroke.points_mm, closed=stroke.closed)
    canvas.drawPath(path, stroke=1, fill=0)


def _trace(path: Any, points: np.ndarray, *, closed: bool) -> None:
    # A thousandth of a millimetre: what no printer shows takes no room in the file.
    first, *rest = np.round(points, 3).tolist()
    path.moveTo(*first)
    for point in rest:
        path.lineTo(*point)
    if closed:
        path.close()
