"""How far a measure taken off a scan may lie from the tape's, by kind of measure."""

from __future__ import annotations

from fitkit.body.tape_reading import TapeMeasure

__all__ = ["scan_limit_mm"]

_LENGTH_MM, _HEIGHT_MM, _BREADTH_MM = 5.0, 4.0, 4.0
_LARGE_GIRTH_MM, _SMALL_GIRTH_MM, _HEAD_MM = 9.0, 4.0, 2.0
# The standard gives examples only; thigh counted large, upper arm, knee and calf small is
# common practice, no source.
_SMALL = {"neck", "neck base", "upper arm", "forearm", "elbow", "wrist", "knee", "calf", "ankle"}


def scan_limit_mm(measure: TapeMeasure) -> float:
    """Return the limit for a measure's kind, in mm.

    The standard holds the mean difference over at least 40 people to it; held against one
    person's measures, as here, it says what to expect of a good scan and a good tape.

    References
    ----------
    ISO 20685-1:2018, maximum allowable mean difference between scan-derived values and a skilled
    measurer's: segment lengths 5, body heights 4, large circumferences 9, small
    circumferences 4, breadths 4, head 1 without and 2 with hair (mm).
    """
    if measure.kind == "length":
        return _LENGTH_MM
    if measure.kind == "height":
        return _HEIGHT_MM
    if measure.kind == "breadth":
        return _BREADTH_MM
    part = measure.name.removeprefix("left ").removeprefix("right ")
    if part == "head":
        return _HEAD_MM
    if part in _SMALL:
        return _SMALL_GIRTH_MM
    # A girth of the maker's own goes by its size: what is no thicker than a neck is small.
    known_large = part in {"chest", "waist", "hip", "thigh"}
    return _LARGE_GIRTH_MM if known_large or measure.length_mm > 450.0 else _SMALL_GIRTH_MM
