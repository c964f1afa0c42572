"""Words on pixel pictures: the project's font and the sizes it comes out at."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

from fitkit.drawing.text_width import font_file

if TYPE_CHECKING:
    from PIL.ImageDraw import ImageDraw
    from PIL.ImageFont import FreeTypeFont

__all__ = ["font_px", "spread_apart", "write_with_halo"]


@lru_cache(maxsize=16)
def font_px(size_px: int) -> FreeTypeFont:
    """Return DejaVu Sans at a size in pixels."""
    from PIL import ImageFont

    return ImageFont.truetype(font_file(), size_px)


def write_with_halo(
    draw: ImageDraw,
    at_px: tuple[float, float],
    text: str,
    *,
    size_px: int = 14,
    ink: tuple[int, int, int] = (20, 20, 20),
    halo: tuple[int, int, int] = (255, 255, 255),
    anchor: str = "lm",
) -> None:
    """Write words that stay readable on any ground.

    ``anchor`` is Pillow's two letters: left, middle or right; ascender, middle or baseline.
    """
    draw.text(
        at_px,
        text,
        font=font_px(size_px),
        fill=ink,
        anchor=anchor,
        stroke_width=max(2, size_px // 7),
        stroke_fill=halo,
    )


def spread_apart(wanted: list[float], *, pitch: float, low: float, high: float) -> list[float]:
    """Return places at least ``pitch`` apart within a span, each near where it is wanted.

    Order is kept. Where the span is too short for all, they are spaced evenly.
    """
    count = len(wanted)
    if count == 0:
        return []
    order = sorted(range(count), key=lambda i: (wanted[i], i))
    if (count - 1) * pitch > high - low:
        pitch = (high - low) / max(count - 1, 1)
    places = [min(max(wanted[i], low), high) for i in order]
    for i in range(1, count):
        places[i] = max(places[i], places[i - 1] + pitch)
    places[-1] = min(places[-1], high)
    for i in range(count - 2, -1, -1):
        places[i] = min(places[i], places[i + 1] - pitch)
    result = [0.0] * count
    for place, i in zip(places, order, strict=True):
        result[i] = place
    return result
