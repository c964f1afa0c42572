"""A drawing as SVG in true millimetres, one group for each layer."""

from __future__ import annotations

import math
from xml.sax.saxutils import escape, quoteattr

import numpy as np

from fitkit.drawing.drawing import Drawing, Layer, TextAnchor
from fitkit.drawing.line_style import LINE_STYLES
from fitkit.drawing.part_content import extent_mm
from fitkit.drawing.text_width import em_mm
from fitkit.geometry.arrays import Floats

__all__ = ["svg_of_drawing"]

_RIM_MM = 2.0
_ANCHOR = {TextAnchor.LEFT: "start", TextAnchor.CENTRE: "middle", TextAnchor.RIGHT: "end"}


def _number(value: float) -> str:
    """Write to a ten-millionth of a millimetre, without a minus sign before nothing."""
    text = f"{value:.7f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def svg_of_drawing(drawing: Drawing) -> bytes:
    """Return the drawing as an SVG file.

    One user unit is one millimetre; width and height say so in ``mm``. SVG's y runs down, so
    a point of the drawing stands at ``(x - left, top - y)``, where left and top are written
    into the file as ``data-left-mm`` and ``data-top-mm``. Holes are plain circles without
    centre crosses, so that a cutter drills or cuts the hole alone. Words are never mirrored.
    """
    low, high = extent_mm(drawing) + np.array([[-_RIM_MM], [_RIM_MM]])
    left, top = float(low[0]), float(high[1])
    width, height = _number(float(high[0]) - left), _number(top - float(low[1]))

    def at(point: Floats) -> tuple[str, str]:
        return _number(float(point[0]) - left), _number(top - float(point[1]))

    def path(points: Floats, closed: bool) -> str:
        steps = " L".join(",".join(at(p)) for p in points)
        return f'd="M{steps}{" Z" if closed else ""}"'

    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<svg xmlns="http://www.w3.org/2000/svg" version="1.1" width="{width}mm" '
        f'height="{height}mm" viewBox="0 0 {width} {height}" '
        f'data-left-mm="{_number(left)}" data-top-mm="{_number(top)}">',
        f"<title>{escape(drawing.name)}</title>",
    ]
    for layer in Layer:
        inside = [
            f"<path {path(s.points_mm, s.closed)}/>" for s in drawing.strokes if s.layer is layer
        ]
        inside += [
            f'<path {path(f.points_mm, True)} fill="{LINE_STYLES[layer].rgb_hex}" stroke="none"/>'
            for f in drawing.fills
            if f.layer is layer
        ]
        for hole in drawing.holes:
            if hole.layer is layer:
                x, y = at(hole.centre_mm)
                inside.append(f'<circle cx="{x}" cy="{y}" r="{_number(hole.diameter_mm / 2.0)}"/>')
        for words in drawing.words:
            if words.layer is layer:
                x, y = at(words.at_mm)
                turn = _number(-math.degrees(words.angle_rad))
                inside.append(
                    f'<text transform="translate({x} {y}) rotate({turn})" '
                    f'font-size="{_number(em_mm(words.height_mm))}" '
                    f'text-anchor="{_ANCHOR[words.anchor]}" fill="{LINE_STYLES[layer].rgb_hex}" '
                    f'stroke="none" xml:space="preserve">{escape(words.text)}</text>'
                )
        if inside:
            style = LINE_STYLES[layer]
            dash = " ".join(_number(d) for d in style.dash_mm)
            dashes = f' stroke-dasharray="{dash}"' if dash else ""
            lines.append(
                f'<g id={quoteattr(layer.value)} fill="none" stroke="{style.rgb_hex}" '
                f'stroke-width="{_number(style.width_mm)}" stroke-linejoin="round"{dashes} '
                f"font-family=\"'DejaVu Sans', sans-serif\">"
            )
            lines += [*inside, "</g>"]
    lines.append("</svg>\n")
    return "\n".join(lines).encode()
