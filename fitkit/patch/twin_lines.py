"""Which tape line mirrors which, and what must be drawn so that each has its mirrored one."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from fitkit.errors import DesignError
from fitkit.patch.design import (
    Anchor,
    AxisAnchor,
    BetweenAnchor,
    GeodesicLine,
    HeightAnchor,
    LandmarkAnchor,
    LineAnchor,
    MirroredLine,
    PointAnchor,
    TapeLineDesign,
    ThroughLine,
    lines_needed,
)
from fitkit.patch.mirrored_line import mirrored_line, other_side

__all__ = ["twin_lines"]


def twin_lines(
    lines: Sequence[TapeLineDesign], wanted: Sequence[str]
) -> tuple[dict[str, str], tuple[MirroredLine, ...]]:
    """Return the mirrored line of each wanted one, and the lines that must be added for it.

    A line that lies the same on both sides, such as the middle, a level of the trunk or a round
    drawn alike left and right, is its own. Where the other side is drawn already, through
    the mirrored anchors, that line is taken. Lines that a wanted one leans on come first.
    """
    by_name = {line.name: line for line in lines}
    twins: dict[str, str] = {}
    added: list[MirroredLine] = []

    def visit(name: str) -> None:
        if name in twins:
            return
        design = by_name[name]
        if isinstance(design, MirroredLine):
            twins[name], twins[design.of] = design.of, name
            return
        for below in lines_needed(design):
            visit(below)
        found = _drawn_already(design, by_name)
        if found is None:
            other = other_side(name)
            new = other if other != name and other not in by_name else f"{name}, other side"
            line = MirroredLine(new, name)
            added.append(line)
            by_name[new] = line
            found = new
        twins[name] = found

    for name in wanted:
        visit(name)
    return twins, tuple(added)


def _drawn_already(design: TapeLineDesign, by_name: Mapping[str, TapeLineDesign]) -> str | None:
    for other in by_name.values():
        if isinstance(other, MirroredLine) and other.of == design.name:
            return other.name
    try:
        mirrored = mirrored_line(design, by_name)
    except DesignError:
        return None  # it leans on a line whose mirrored one is drawn otherwise
    same = [other.name for other in by_name.values() if _alike(mirrored, other)]
    return design.name if design.name in same else (same[0] if same else None)


def _alike(one: TapeLineDesign, other: TapeLineDesign) -> bool:
    """Whether two lines run through the same places, whatever their names and ways round."""
    if isinstance(one, GeodesicLine | ThroughLine):
        if type(other) is not type(one) or other.closed != one.closed:
            return False
        first = [_key(anchor) for anchor in one.through]
        second = [_key(anchor) for anchor in other.through]
        turns = [second, second[::-1]]
        if one.closed:
            turns = [way[k:] + way[:k] for way in turns for k in range(len(way))]
        return first in turns
    return type(one) is type(other) and _unnamed(one) == _unnamed(other)


def _unnamed(design: TapeLineDesign) -> tuple[object, ...]:
    fields = (getattr(design, name) for name in design.__dataclass_fields__ if name != "name")
    return tuple(_key(one) if isinstance(one, _PLACES) else one for one in fields)


_PLACES = (LandmarkAnchor, HeightAnchor, BetweenAnchor, AxisAnchor, PointAnchor, LineAnchor)


def _key(anchor: Anchor) -> tuple[object, ...]:
    """Return what an anchor means, bearings within a full turn and rounded."""
    match anchor:
        case HeightAnchor():
            return (round(anchor.height_mm, 3), _turned(anchor.bearing_rad))
        case BetweenAnchor():
            return (*anchor.between, round(anchor.part, 6), _turned(anchor.bearing_rad))
        case AxisAnchor():
            return (anchor.axis, round(anchor.along, 6), _turned(anchor.bearing_rad))
        case PointAnchor():
            return tuple(round(x, 3) + 0.0 for x in (anchor.x_mm, anchor.y_mm, anchor.z_mm))
        case LineAnchor():
            return (anchor.line, anchor.along, anchor.crossing)
        case LandmarkAnchor():
            return (anchor.landmark,)


def _turned(bearing_rad: float) -> float:
    return round(bearing_rad % math.tau, 6) % round(math.tau, 6)
