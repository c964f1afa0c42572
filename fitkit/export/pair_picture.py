"""Two sides' outlines laid on each other, as a picture."""

from __future__ import annotations

import numpy as np

from fitkit.drawing.drawing import Drawing, Layer, Stroke, TextAnchor, Words
from fitkit.export.drawing_picture import png_of_drawing
from fitkit.flatten.pair_difference import PairDifference

__all__ = ["png_of_pair"]


def png_of_pair(name: str, difference: PairDifference) -> bytes:
    """Return the drawn outline with the other side's, turned over, dashed on it."""
    low = np.minimum(difference.drawn_mm.min(axis=0), difference.other_mm.min(axis=0))
    high = np.maximum(difference.drawn_mm.max(axis=0), difference.other_mm.max(axis=0))
    width = max(float(high[0] - low[0]), 140.0)
    height = max(4.0, 0.022 * width)
    rows = (
        f"{name}: full line as drawn, dashed the other side turned over",
        f"up to {difference.furthest_mm:.1f} mm apart (at the cross), "
        f"{difference.rms_mm:.1f} mm on the whole",
        f"area {100 * difference.area_share:+.1f} %, "
        f"outline {100 * difference.length_share:+.1f} %",
    )
    words = tuple(
        Words(row, low - [0.0, (k + 1) * 1.9 * height], height, anchor=TextAnchor.LEFT)
        for k, row in enumerate(rows)
    )
    arm = max(3.0, 0.02 * width)
    cross = tuple(
        Stroke(difference.worst_mm + np.array([[-1.0, -slope], [1.0, slope]]) * arm, Layer.MARK)
        for slope in (1.0, -1.0)
    )
    outlines = (
        Stroke(difference.drawn_mm, Layer.CUT, closed=True),
        Stroke(difference.other_mm, Layer.EDGE, closed=True),
    )
    scale = float(np.clip(1100.0 / max(width, float(high[1] - low[1])), 1.0, 4.0))
    return png_of_drawing(Drawing(name, (*outlines, *cross), words=words), px_per_mm=scale)
