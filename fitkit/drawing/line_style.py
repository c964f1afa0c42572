"""How each layer is drawn: width, dashes and colour.

Widths are of the ISO 128 series with wide to narrow at least 2 : 1. Meaning never rests on
colour alone: width and dashes tell the layers apart on a black-and-white print.
"""

from __future__ import annotations

from dataclasses import dataclass

from fitkit.drawing.drawing import Hole, Layer

__all__ = ["ISO_128_WIDTHS_MM", "LINE_STYLES", "LineStyle", "centre_cross_arm_mm"]

ISO_128_WIDTHS_MM = (0.13, 0.18, 0.25, 0.35, 0.5, 0.7)
"""Line widths of ISO 128-2 that a paper template has use for."""


@dataclass(frozen=True, slots=True)
class LineStyle:
    """One layer's pen.

    Attributes
    ----------
    width_mm
        Line width.
    dash_mm
        Lengths of mark and gap in turn; empty for an unbroken line.
    rgb
        Red, green and blue, 0 to 1.
    """

    width_mm: float
    dash_mm: tuple[float, ...] = ()
    rgb: tuple[float, float, float] = (0.0, 0.0, 0.0)

    @property
    def rgb_hex(self) -> str:
        """The colour as ``#rrggbb``."""
        return "#" + "".join(f"{round(255 * part):02x}" for part in self.rgb)


LINE_STYLES: dict[Layer, LineStyle] = {
    Layer.CUT: LineStyle(0.5),
    Layer.EDGE: LineStyle(0.25, (6.0, 1.5), (0.0, 0.20, 0.50)),
    # ISO 128: long dash, two short ones, narrow: bend lines.
    Layer.BEND: LineStyle(0.25, (12.0, 2.0, 1.0, 2.0, 1.0, 2.0), (0.35, 0.0, 0.45)),
    Layer.DRILL: LineStyle(0.25, (), (0.62, 0.0, 0.10)),
    Layer.MARK: LineStyle(0.25),
    Layer.GRAIN: LineStyle(0.25, (8.0, 1.5, 0.8, 1.5), (0.0, 0.33, 0.20)),
    Layer.ART: LineStyle(0.25, (), (0.45, 0.25, 0.0)),
    # Light by its thinness and its gaps, dark enough in tone for a black-and-white print.
    Layer.UNDERLAY: LineStyle(0.13, (1.0, 1.5), (0.45, 0.45, 0.45)),
    Layer.WORDS: LineStyle(0.25),
    Layer.PAPER: LineStyle(0.18, (), (0.42, 0.42, 0.42)),
    Layer.SOLID: LineStyle(0.13),
}
"""The pen of each layer."""


def centre_cross_arm_mm(hole: Hole) -> float:
    """Return how far the cross in a printed hole reaches from its centre.

    It reaches a little past the circle so that the centre can still be found from outside.
    """
    return hole.diameter_mm / 2.0 + 1.0
