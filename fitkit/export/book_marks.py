"""What the build book draws: plates, blanks and gauges; all but the shading as lines."""

from __future__ import annotations

from collections.abc import Sequence
from io import BytesIO
from typing import Any

import numpy as np
import shapely
from reportlab.lib.utils import ImageReader
from reportlab.platypus import Flowable

from fitkit.drawing.drawing import Drawing, Layer
from fitkit.drawing.line_style import LINE_STYLES
from fitkit.drawing.paper import Paper
from fitkit.export.book_scene import PlatesView
from fitkit.export.page_pdf import draw_on_canvas
from fitkit.geometry.arrays import Floats
from fitkit.shop.blank_view import BlankView
from fitkit.shop.build_book import BookRange
from fitkit.shop.gauge_section import GaugeSection

__all__ = [
    "BOLD",
    "FONT",
    "MM",
    "BlankDrawing",
    "GaugeDrawing",
    "GreyPicture",
    "PageDrawing",
    "PlatesPicture",
    "RangeBars",
    "WholePage",
    "scale_in_words",
]

MM = 72.0 / 25.4
"""Points in a millimetre."""
FONT, BOLD = "DejaVuSans", "DejaVuSans-Bold"
_OUTLINE_MM, _FINE_MM = 0.5, 0.18
_LETTER_PT = 7.2
# Shading is smooth; lines and words are drawn over it, not in it.
_JPEG_QUALITY = 88
# Room for names beside and above a blank, and for the rule under it.
_RIM_PT, _FOOT_PT = (42.0, 11.0), 13.0
# One to so many: halves to ten, then ones, then fives.
_SCALES = (*np.arange(1.0, 10.0, 0.5), *np.arange(10.0, 20.0), *np.arange(20.0, 101.0, 5.0))
_RULES_MM = (10.0, 20.0, 50.0, 100.0, 200.0, 500.0)


def scale_in_words(scale: float) -> str:
    """Return ``"1 : 2.5"``."""
    return f"1 : {scale:g}"


def _fitting_scale(size_mm: Sequence[float], room_pt: Sequence[float]) -> float:
    """Return the least scale of the series at which a size fits into the room."""
    needed = max(size / (room / MM) for size, room in zip(size_mm, room_pt, strict=True))
    return float(next((one for one in _SCALES if one >= needed), np.ceil(needed)))


class _Box(Flowable):  # type: ignore[misc]  # reportlab is untyped
    """Something of a fixed size, points."""

    def __init__(self, width: float, height: float) -> None:
        super().__init__()
        self.width, self.height = width, height

    def wrap(self, *_: float) -> tuple[float, float]:
        return self.width, self.height

    def path(self, points: Floats, *, closed: bool = False, fill: int = 0) -> None:
        if len(points) < 2:
            return
        trace = self.canv.beginPath()
        trace.moveTo(*map(float, points[0]))
        for x, y in points[1:]:
            trace.lineTo(float(x), float(y))
        if closed:
            trace.close()
        self.canv.drawPath(trace, stroke=1, fill=fill)

    def halo_text(self, x: float, y: float, text: str, *, size: float, font: str = FONT) -> None:
        """Write centred words on a white ground."""
        width = self.canv.stringWidth(text, font, size)
        self.canv.setFillGray(1.0)
        self.canv.rect(x - 0.5 * width - 0.8, y - 0.25 * size, width + 1.6, 1.1 * size, 0, 1)
        self.canv.setFillGray(0.0)
        self.canv.setFont(font, size)
        self.canv.drawCentredString(x, y, text)


def _as_jpeg(grey: Any) -> ImageReader:
    """Return a grey picture packed for the page: an eighth of its size, and shading looks alike."""
    packed = BytesIO()
    grey.save(packed, "JPEG", quality=_JPEG_QUALITY)
    packed.seek(0)
    return ImageReader(packed)


class PlatesPicture(_Box):
    """A shaded picture with outlines and numbers over it, as large as fits into a box."""

    def __init__(
        self, view: PlatesView, width: float, height: float, *, titled: bool = True
    ) -> None:
        super().__init__(width, height)
        self._view, self._titled = view, titled

    def draw(self) -> None:
        """Draw it."""
        view = self._view
        head = 12.0 if self._titled else 0.0
        scale = min(self.width / view.image.width, (self.height - head) / view.image.height)
        left = 0.5 * (self.width - scale * view.image.width)
        low = self.height - head - scale * view.image.height  # right under its title
        canvas = self.canv

        def placed(points: Floats) -> Floats:
            up = view.image.height - points[:, 1] - 0.5
            return np.column_stack([left + scale * (points[:, 0] + 0.5), low + scale * up])

        canvas.saveState()
        canvas.drawImage(
            _as_jpeg(view.image),
            left,
            low,
            scale * view.image.width,
            scale * view.image.height,
        )
        canvas.setLineJoin(1)
        canvas.setLineWidth(0.35 * MM)
        for line in view.lines_px:
            self.path(placed(line))
        canvas.setLineWidth(0.2 * MM)
        canvas.setDash([4.0, 2.5])
        for line in view.dashed_px:
            self.path(placed(line))
        canvas.setDash([])
        self._numbers([(text, placed(at[None])[0]) for text, at in view.numbers_px])
        if self._titled:
            canvas.setFillGray(0.0)
            canvas.setFont(FONT, 8.5)
            canvas.drawCentredString(0.5 * self.width, self.height - 9.0, view.title)
        canvas.restoreState()

    def _numbers(self, numbers: list[tuple[str, Floats]]) -> None:
        """Draw numbers in discs, moved off each other, with a line to where they belong."""
        radius = 7.5
        places = _spread([at for _, at in numbers], 2.0 * radius + 1.0)
        for (text, at), place in zip(numbers, places, strict=True):
            canvas = self.canv
            canvas.setLineWidth(0.6)
            if float(np.linalg.norm(place - at)) > 1.0:
                self.path(np.stack([at, place]))
                canvas.setFillGray(0.0)
                canvas.circle(*map(float, at), 1.3, 1, 1)
            canvas.setFillGray(1.0)
            canvas.circle(*map(float, place), radius, 1, 1)
            canvas.setFillGray(0.0)
            canvas.setFont(BOLD, 9.0 if len(text) < 3 else 7.0)
            canvas.drawCentredString(float(place[0]), float(place[1]) - 3.2, text)


def _spread(wanted: list[Floats], apart: float) -> list[Floats]:
    """Return places moved until no two are nearer than asked, or nearly so."""
    places = [np.array(at, dtype=np.float64) for at in wanted]
    for _ in range(60):
        moved = False
        for i in range(len(places)):
            for j in range(i + 1, len(places)):
                off = places[j] - places[i]
                gap = float(np.linalg.norm(off))
                if gap < apart:
                    way = off / gap if gap > 1e-6 else np.array([1.0, 0.0])
                    places[i] -= 0.5 * (apart - gap) * way
                    places[j] += 0.5 * (apart - gap) * way
                    moved = True
        if not moved:
            break
    return places


class BlankDrawing(_Box):
    """A blank to scale: outline, folds, holes, hatching, dots, contours, names and a rule."""

    def __init__(self, view: BlankView, width: float, height: float) -> None:
        super().__init__(width, height)
        self._view = view
        room = (width - 2 * _RIM_PT[0], height - 2 * _RIM_PT[1] - _FOOT_PT)
        self.scale = _fitting_scale(view.size_mm, room)

    def draw(self) -> None:
        """Draw it."""
        view, canvas = self._view, self.canv
        per_mm = MM / self.scale
        size = np.array(view.size_mm) * per_mm
        foot = _FOOT_PT
        corner = 0.5 * np.array([self.width - size[0], self.height + foot - size[1]])
        low = view.cut_mm.min(axis=0)

        def placed(points: Floats) -> Floats:
            result: Floats = (points - low) * per_mm + corner
            return result

        canvas.saveState()
        canvas.setLineJoin(1)
        canvas.setStrokeGray(0.0)
        if view.hatching_mm is not None:
            canvas.setLineWidth(_FINE_MM * MM)
            for stroke in view.hatching_mm:
                self.path(placed(stroke))
        if view.dots_mm is not None:
            canvas.setFillGray(0.0)
            for x, y in placed(view.dots_mm):
                canvas.circle(float(x), float(y), 0.65, 0, 1)
        self._lines(placed)
        self._contours(placed)
        if view.worst_mm is not None:
            x, y = map(float, placed(view.worst_mm[None])[0])
            canvas.setLineWidth(2.6)
            canvas.setStrokeGray(1.0)
            canvas.circle(x, y, 5.5, 1, 0)
            canvas.setLineWidth(1.2)
            canvas.setStrokeGray(0.0)
            canvas.circle(x, y, 5.5, 1, 0)
        self._names(placed, shapely.Polygon(placed(view.cut_mm)).buffer(0))
        self._rule(per_mm)
        canvas.restoreState()

    def _lines(self, placed: Any) -> None:
        canvas, view = self.canv, self._view
        for layer, points in view.lines:
            style = LINE_STYLES[layer]
            canvas.setLineWidth((0.35 if layer is Layer.BEND else 0.25) * MM)
            canvas.setDash([0.5 * MM * d for d in style.dash_mm])
            self.path(placed(points))
        canvas.setDash([])
        canvas.setLineWidth(_OUTLINE_MM * MM)
        self.path(placed(view.cut_mm), closed=True)
        canvas.setLineWidth(0.25 * MM)
        for hole in view.holes_mm:
            x, y = map(float, placed(hole[None, :2])[0])
            canvas.setFillGray(1.0)
            canvas.circle(x, y, max(0.5 * hole[2] * MM / self.scale, 1.1), 1, 1)

    def _contours(self, placed: Any) -> None:
        canvas = self.canv
        canvas.setLineWidth(0.25 * MM)
        told: list[Floats] = []
        labels: list[tuple[str, Floats]] = []
        for contour in self._view.contours:
            points = placed(contour.points_mm)
            canvas.setDash([] if contour.percent > 0 else [3.0, 2.0])
            self.path(points)
            line = shapely.LineString(points)
            at = shapely.get_coordinates(line.interpolate(0.5, normalized=True))[0]
            if line.length > 40.0 and all(np.linalg.norm(at - other) > 24.0 for other in told):
                told.append(at)
                labels.append((f"{contour.percent:+.3g}", at))
        canvas.setDash([])
        for text, at in labels:
            self.halo_text(float(at[0]), float(at[1]) - 2.2, text, size=6.2)

    def _names(self, placed: Any, area: shapely.Geometry) -> None:
        """Write each edge's name outside it, level, kept inside the box and off the others."""
        boxes: list[shapely.Geometry] = [shapely.box(0, 0, self.width, 12.0)]
        for name in self._view.names:
            at = placed(name.at_mm[None])[0]
            width = self.canv.stringWidth(name.name, FONT, _LETTER_PT)
            reach = abs(name.outward[0]) * 0.5 * width + abs(name.outward[1]) * 0.5 * _LETTER_PT
            for step in (4.0, 8.0, 13.0, 20.0, 28.0):
                middle = at + name.outward * (reach + step)
                x = float(np.clip(middle[0], 0.5 * width + 1.0, self.width - 0.5 * width - 1.0))
                y = float(np.clip(middle[1], 16.0, self.height - 5.0))
                box = shapely.box(x - 0.5 * width, y - 4.0, x + 0.5 * width, y + 4.0)
                clear = not any(box.intersects(other) for other in boxes)
                if clear and not box.intersects(area):
                    break
            boxes.append(box)
            self.halo_text(x, y - 2.6, name.name, size=_LETTER_PT)

    def _rule(self, per_mm: float) -> None:
        canvas = self.canv
        length = max(
            (one for one in _RULES_MM if one * per_mm <= 0.35 * self.width), default=_RULES_MM[0]
        )
        canvas.setLineWidth(0.35 * MM)
        canvas.line(0.0, 4.0, length * per_mm, 4.0)
        for x in (0.0, length * per_mm):
            canvas.line(x, 1.5, x, 6.5)
        canvas.setFillGray(0.0)
        canvas.setFont(FONT, _LETTER_PT)
        canvas.drawString(
            length * per_mm + 4.0, 2.0, f"{length:g} mm, drawn {scale_in_words(self.scale)}"
        )
        canvas.drawRightString(self.width, 2.0, "outside shown")


class PageDrawing(_Box):
    """A drawing made to fit a box, turned where it then becomes larger, in black."""

    def __init__(self, drawing: Drawing, paper: Paper, width: float, height: float) -> None:
        self._turned = (paper.width_mm > paper.height_mm) != (width > height)
        sides = paper.width_mm, paper.height_mm
        wide, tall = sides[::-1] if self._turned else sides
        self._scale = min(width / wide, height / tall)
        super().__init__(width, tall * self._scale)
        self._drawing, self._wide = drawing, wide

    def draw(self) -> None:
        """Draw it."""
        canvas = self.canv
        canvas.saveState()
        canvas.translate(0.5 * (self.width - self._wide * self._scale), 0.0)
        if self._turned:
            canvas.translate(self._wide * self._scale, 0.0)
            canvas.rotate(90)
        canvas.scale(self._scale, self._scale)
        draw_on_canvas(canvas, self._drawing, grey=True)
        canvas.restoreState()


class WholePage(_Box):
    """A page that was drawn on its own, margins and all, at its true size, in black."""

    def __init__(self, drawing: Drawing, width: float, height: float) -> None:
        super().__init__(width, height)
        self._drawing = drawing

    def draw(self) -> None:
        """Draw it."""
        self.canv.saveState()
        self.canv.scale(MM, MM)
        draw_on_canvas(self.canv, self._drawing, grey=True)
        self.canv.restoreState()


class GreyPicture(_Box):
    """A picture made elsewhere, in greys, as large as fits into a box."""

    def __init__(self, png: bytes, width: float, height: float) -> None:
        from PIL import Image

        self._image = Image.open(BytesIO(png)).convert("L")
        self._scale = min(width / self._image.width, height / self._image.height)
        super().__init__(width, self._scale * self._image.height)

    def draw(self) -> None:
        """Draw it."""
        wide = self._scale * self._image.width
        left = 0.5 * (self.width - wide)
        self.canv.drawImage(_as_jpeg(self._image), left, 0.0, wide, self.height)


class RangeBars(_Box):
    """Ranges of movement as bars: black what is free, white what is not, a tick where trimmed."""

    def __init__(self, ranges: Sequence[BookRange], width: float) -> None:
        super().__init__(width, 16.0 * len(ranges) + 14.0)
        self._ranges = tuple(ranges)

    def draw(self) -> None:
        """Draw them, all to one scale from rest to wanted."""
        canvas = self.canv
        left, right = 0.36 * self.width, 0.84 * self.width
        longest = max(abs(one.wanted_deg - one.rest_deg) for one in self._ranges) or 1.0
        canvas.saveState()
        canvas.setStrokeGray(0.0)
        for row, one in enumerate(self._ranges):
            y = self.height - 16.0 * (row + 1)
            whole = (right - left) * abs(one.wanted_deg - one.rest_deg) / longest

            def part(angle_deg: float, one: BookRange = one) -> float:
                span = one.wanted_deg - one.rest_deg
                return min(max((angle_deg - one.rest_deg) / span, 0.0), 1.0) if span else 1.0

            canvas.setFillGray(0.0)
            canvas.setFont(FONT, 8.5)
            canvas.drawString(0.0, y + 2.0, one.name)
            told = f"{one.free_deg:.0f}° of {one.wanted_deg:.0f}°"
            canvas.drawString(left + whole + 6.0, y + 2.0, told)
            canvas.setLineWidth(0.8)
            canvas.rect(left, y, whole, 9.0, 1, 0)
            canvas.rect(left, y, whole * part(one.free_deg), 9.0, 0, 1)
            if one.trimmed_deg > one.free_deg + 0.5 or one.trimmed_deg < one.free_deg - 0.5:
                x = left + whole * part(one.trimmed_deg)
                canvas.setLineWidth(1.6)
                canvas.line(x, y - 2.0, x, y + 11.0)
        canvas.restoreState()


class GaugeDrawing(_Box):
    """One or two sections with chord and rise, to scale."""

    def __init__(self, sections: Sequence[GaugeSection], width: float, height: float) -> None:
        super().__init__(width, height)
        self._sections = tuple(sections)
        each = height / max(len(self._sections), 1)
        sizes = [np.ptp(one.points_mm, axis=0) for one in self._sections]
        self._each = each
        self.scale = max(
            (_fitting_scale(size, (width - 6.0, each - 18.0)) for size in sizes), default=1.0
        )

    def draw(self) -> None:
        """Draw it."""
        canvas = self.canv
        per_mm = MM / self.scale
        canvas.saveState()
        canvas.setLineJoin(1)
        for row, section in enumerate(self._sections):
            top = self.height - row * self._each
            low, high = section.points_mm.min(axis=0), section.points_mm.max(axis=0)
            size = (high - low) * per_mm
            corner = np.array(
                [0.5 * (self.width - size[0]), top - 13.0 - 0.5 * (self._each - 18.0 + size[1])]
            )
            points = (section.points_mm - low) * per_mm + corner
            canvas.setFillGray(0.0)
            canvas.setFont(FONT, _LETTER_PT)
            canvas.drawString(0.0, top - 8.5, section.in_words())
            if not section.goes_round:
                canvas.setLineWidth(0.18 * MM)
                canvas.setDash([4.0, 2.0])
                self.path(points[[0, -1]])
                canvas.setDash([])
            canvas.setLineWidth(0.6 * MM)
            self.path(points)
        canvas.restoreState()
