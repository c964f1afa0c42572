"""How wide words come out, so that nothing is printed over anything else.

All words are set in DejaVu Sans, which comes with matplotlib and holds Latin, Greek and
Cyrillic letters, so that a wearer's name is written as the wearer writes it. The height of
words is the height of a capital letter, as in technical drawing (ISO 3098).
"""

from __future__ import annotations

import re
from functools import lru_cache

import numpy as np

from fitkit.drawing.drawing import TextAnchor, Words
from fitkit.geometry.arrays import Floats

__all__ = [
    "CAP_HEIGHT_PER_EM",
    "em_mm",
    "font_file",
    "shortened",
    "text_width_mm",
    "words_box_mm",
    "wrapped",
]

CAP_HEIGHT_PER_EM = 1493.0 / 2048.0
"""Height of the letter H in DejaVu Sans over its design size (read from the font's outline)."""

# Blanks where a line may break: not before a unit, nor beside a multiplication cross.
_BREAKS = re.compile(r"(?<!×)\s+(?!(?:mm|[%×])(?:\W|$))")

_DESCENT_PER_CAP = 0.33
_ASCENT_PER_CAP = 1.05


def font_file(*, bold: bool = False) -> str:
    """Return where the font lies on this machine."""
    import matplotlib as mpl

    return f"{mpl.get_data_path()}/fonts/ttf/DejaVuSans{'-Bold' if bold else ''}.ttf"


def em_mm(height_mm: float) -> float:
    """Return the font size whose capital letters are ``height_mm`` high."""
    return height_mm / CAP_HEIGHT_PER_EM


@lru_cache(maxsize=1)
def _advances() -> tuple[dict[int, float], float]:
    """Advance width by code point and of the sign for a missing letter, in font sizes."""
    from fontTools.ttLib import TTFont  # type: ignore[import-untyped]

    with TTFont(font_file(), lazy=True) as font:
        units = float(font["head"].unitsPerEm)
        widths = font["hmtx"].metrics
        by_code = {code: widths[name][0] / units for code, name in font.getBestCmap().items()}
        return by_code, widths[".notdef"][0] / units


def text_width_mm(text: str, height_mm: float) -> float:
    """Return how wide one line of text is.

    Parameters
    ----------
    text
        One line; letters the font lacks count as the box that stands for them.
    height_mm
        Height of a capital letter.

    Examples
    --------
    >>> round(text_width_mm("100 mm", 3.5), 2)
    20.04
    """
    return em_mm(height_mm) * _width_per_em(text)


@lru_cache(maxsize=8192)
def _width_per_em(text: str) -> float:
    by_code, missing = _advances()
    return sum(by_code.get(ord(letter), missing) for letter in text)


def words_box_mm(words: Words) -> Floats:
    """(4, 2) float mm: the turned rectangle the words cover, counter-clockwise, tails included."""
    width = text_width_mm(words.text, words.height_mm)
    start = {TextAnchor.LEFT: 0.0, TextAnchor.CENTRE: -0.5, TextAnchor.RIGHT: -1.0}[words.anchor]
    left, right = start * width, (start + 1.0) * width
    low, high = -_DESCENT_PER_CAP * words.height_mm, _ASCENT_PER_CAP * words.height_mm
    box = np.array([[left, low], [right, low], [right, high], [left, high]])
    c, s = np.cos(words.angle_rad), np.sin(words.angle_rad)
    turned: Floats = box @ np.array([[c, s], [-s, c]]) + words.at_mm
    return turned


def wrapped(text: str, height_mm: float, width_mm: float) -> list[str]:
    """Return the text broken at blanks into lines no wider than ``width_mm``.

    A number stays with its unit. A single word that is wider stands alone, shortened.
    """
    widest = width_mm / em_mm(height_mm)
    lines: list[str] = []
    line = ""
    for word in _words(text):
        longer = f"{line} {word}" if line else word
        if line and _width_per_em(longer) > widest:
            lines.append(line)
            line = word
        else:
            line = longer
    if line:
        lines.append(line)
    return [shortened(one, height_mm, width_mm) for one in lines]


@lru_cache(maxsize=2048)
def _words(text: str) -> tuple[str, ...]:
    return tuple(_BREAKS.split(text.strip()))


def shortened(text: str, height_mm: float, width_mm: float) -> str:
    """Return the text, its end replaced by an ellipsis where it would be wider than allowed."""
    if text_width_mm(text, height_mm) <= width_mm:
        return text
    while text and text_width_mm(text + "…", height_mm) > width_mm:
        text = text[:-1]
    return text.rstrip() + "…"
