"""A drawing or a page as a PNG picture."""

from __future__ import annotations

import io
import math
from typing import Any

import numpy as np

from fitkit.drawing.drawing import Drawing, Layer, TextAnchor
from fitkit.drawing.line_style import LINE_STYLES, centre_cross_arm_mm
from fitkit.drawing.page import PageSet
from fitkit.drawing.part_content import extent_mm
from fitkit.drawing.text_width import em_mm, font_file, text_width_mm
from fitkit.errors import InputError

__all__ = ["png_of_drawing", "png_of_page"]

_RIM_MM = 3.0
# Lines thinner than this many pixels fade away.
_LEAST_LINE_PX = 0.9


def png_of_drawing(drawing: Drawing, *, px_per_mm: float = 3.0) -> bytes:
    """Return the drawing as a PNG on white, everything drawn and a narrow rim shown."""
    low, high = extent_mm(drawing) + np.array([[-_RIM_MM], [_RIM_MM]])
    picture = _Picture(low, high, px_per_mm)
    picture.draw(drawing)
    return picture.png()


def png_of_page(pages: PageSet, index: int, *, dpi: int = 80) -> bytes:
    """Return page ``index`` (from 0) as a PNG.

    Raises
    ------
    InputError
        When there is no such page.
    """
    if not 0 <= index < len(pages.pages):
        raise InputError(
            f"There is no page {index + 1}; the set has {len(pages.pages)}.",
            f"Ask for page 1 to {len(pages.pages)}.",
        )
    page = pages.pages[index]
    picture = _Picture(
        np.zeros(2), np.array([page.paper.width_mm, page.paper.height_mm]), dpi / 25.4
    )
    picture.draw(page.furniture, {Layer.PAPER})
    for window in page.windows:
        placed = pages.parts[window.part].moved(window.shift_mm, turn_rad=window.turn_rad)
        picture.draw(placed, clip_mm=window.clip_mm)
    picture.draw(page.furniture, set(Layer) - {Layer.PAPER})
    return picture.png()


class _Picture:
    """A white sheet from one corner to another, in millimetres."""

    def __init__(self, low: np.ndarray, high: np.ndarray, px_per_mm: float) -> None:
        from matplotlib.backends.backend_agg import FigureCanvasAgg
        from matplotlib.figure import Figure

        size = high - low
        self._px_per_mm = px_per_mm
        # at 72 px an inch one point is one pixel
        self._figure = Figure(figsize=tuple(size * px_per_mm / 72.0), dpi=72, facecolor="white")
        FigureCanvasAgg(self._figure)
        self._axes = self._figure.add_axes((0.0, 0.0, 1.0, 1.0))
        self._axes.set_axis_off()
        self._axes.set_xlim(low[0], high[0])
        self._axes.set_ylim(low[1], high[1])
        self._above = 1

    def draw(
        self,
        drawing: Drawing,
        layers: set[Layer] | None = None,
        *,
        clip_mm: np.ndarray | None = None,
    ) -> None:
        from matplotlib.collections import LineCollection, PolyCollection

        for layer in Layer:
            if layers is not None and layer not in layers:
                continue
            style = LINE_STYLES[layer]
            width = max(style.width_mm * self._px_per_mm, _LEAST_LINE_PX)
            lines = [
                np.vstack([s.points_mm, s.points_mm[:1]]) if s.closed else s.points_mm
                for s in drawing.strokes
                if s.layer is layer
            ]
            round_about = np.linspace(0.0, 2.0 * math.pi, 73)
            circle = np.stack([np.cos(round_about), np.sin(round_about)], axis=1)
            solid = list(lines) if not style.dash_mm else []
            for hole in drawing.holes:
                if hole.layer is layer:
                    arm = centre_cross_arm_mm(hole)
                    solid.append(hole.centre_mm + circle * hole.diameter_mm / 2.0)
                    solid.append(hole.centre_mm + np.array([[-arm, 0.0], [arm, 0.0]]))
                    solid.append(hole.centre_mm + np.array([[0.0, -arm], [0.0, arm]]))
            pen: dict[str, Any] = {"colors": [style.rgb], "linewidths": width, "joinstyle": "round"}
            if solid:
                self._add(LineCollection(solid, **pen), clip_mm)
            if lines and style.dash_mm:
                # matplotlib counts dashes in line widths
                dash = tuple(d * self._px_per_mm / width for d in style.dash_mm)
                self._add(LineCollection(lines, linestyles=[(0, dash)], **pen), clip_mm)
            fills = [f.points_mm for f in drawing.fills if f.layer is layer]
            if fills:
                solid_ink = PolyCollection(
                    fills, facecolors=[style.rgb], linewidths=0.0, antialiaseds=False
                )
                self._add(solid_ink, clip_mm)
            self._write(drawing, layer, clip_mm)

    def _write(self, drawing: Drawing, layer: Layer, clip_mm: np.ndarray | None) -> None:
        from matplotlib.font_manager import FontProperties
        from matplotlib.patches import PathPatch
        from matplotlib.textpath import TextPath
        from matplotlib.transforms import Affine2D

        font = FontProperties(fname=font_file())
        for words in drawing.words:
            if words.layer is not layer or not words.text.strip():
                continue
            size = em_mm(words.height_mm)
            width = text_width_mm(words.text, words.height_mm)
            start = {TextAnchor.LEFT: 0.0, TextAnchor.CENTRE: -0.5, TextAnchor.RIGHT: -1.0}
            outline = TextPath((start[words.anchor] * width, 0.0), words.text, size=size, prop=font)
            place = Affine2D().rotate(words.angle_rad).translate(*words.at_mm)
            ink = PathPatch(place.transform_path(outline), fc=LINE_STYLES[layer].rgb, lw=0.0)
            self._add(ink, clip_mm)

    def _add(self, artist: Any, clip_mm: np.ndarray | None) -> None:
        from matplotlib.patches import Rectangle

        self._above += 1
        artist.set_zorder(self._above)
        self._axes.add_artist(artist)
        if clip_mm is not None:
            (x0, y0), (x1, y1) = clip_mm
            artist.set_clip_path(
                Rectangle((x0, y0), x1 - x0, y1 - y0, transform=self._axes.transData)
            )

    def png(self) -> bytes:
        buffer = io.BytesIO()
        # no software name or date in the file: same drawing, same bytes
        self._figure.savefig(buffer, format="png", dpi=72, metadata={"Software": None})
        return buffer.getvalue()
