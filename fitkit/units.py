"""Lengths and angles as people write them, turned into millimetres and radians.

Used at the edges only: inside, every length is a float in millimetres.
"""

from __future__ import annotations

import math
import re

from fitkit.errors import InputError

__all__ = [
    "MM_PER_UNIT",
    "format_length_mm",
    "parse_length_mm",
    "parse_number",
    "radians_from_degrees",
]

MM_PER_UNIT = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4}
"""Millimetres in one of each unit (the inch is 25.4 mm exactly, by definition since 1959)."""

_LENGTH = re.compile(r"\s*([+-]?\d+(?:[.,]\d+)?)\s*(mm|cm|m|in|\")?\s*\Z")


def parse_length_mm(text: str | float, *, what: str = "length") -> float:
    """Return a length in millimetres; a bare number is millimetres already.

    Raises
    ------
    InputError
        When the text is not a number with one of the known units.

    Examples
    --------
    >>> parse_length_mm("92,5 cm"), parse_length_mm("2 in"), parse_length_mm(12)
    (925.0, 50.8, 12.0)
    """
    if isinstance(text, (int, float)):
        value, unit = float(text), "mm"
    else:
        match = _LENGTH.match(text)
        if match is None:
            raise InputError(
                f"The {what} '{text}' is not a length.",
                "Write a number with mm, cm, m or in, for example 92.5 cm.",
            )
        value = float(match.group(1).replace(",", "."))
        unit = {'"': "in", None: "mm"}.get(match.group(2), match.group(2))
    if not math.isfinite(value):
        raise InputError(f"The {what} '{text}' is not finite.", "Give a finite number.")
    return value * MM_PER_UNIT[unit]


def parse_number(text: str, *, sign: str, what: str, example: str) -> float:
    """Return a typed number; the sign of its unit, ``"°"`` or ``"%"``, may stand behind it.

    Raises
    ------
    InputError
        When it is not a finite number.

    Examples
    --------
    >>> parse_number(" 12,5 °", sign="°", what="angle", example="120")
    12.5
    """
    try:
        value = float(text.strip().removesuffix(sign).strip().replace(",", "."))
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise InputError(f"The {what} '{text}' is not a number.", f"Give one, as {example}.")
    return value


def format_length_mm(length_mm: float, *, decimals: int = 1) -> str:
    """Return a length as shown to the maker, for example ``"1058.7 mm"``."""
    return f"{length_mm:.{decimals}f} mm"


def radians_from_degrees(angle_deg: float) -> float:
    """Return an angle given in degrees at the edge as radians."""
    return math.radians(angle_deg)
