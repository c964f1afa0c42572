"""A tape line's design drawn again for the other side of the wearer."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

from fitkit.errors import DesignError
from fitkit.patch.design import (
    Anchor,
    AxisAnchor,
    BetweenAnchor,
    GeodesicLine,
    HeightAnchor,
    LandmarkAnchor,
    LevelLine,
    LineAnchor,
    MirroredLine,
    ParallelLine,
    PointAnchor,
    RoundLine,
    SymmetryLine,
    TapeLineDesign,
    ThroughLine,
    Towards,
)

__all__ = ["mirrored_anchor", "mirrored_line", "other_side"]

_TOWARDS: dict[Towards, Towards] = {"left": "right", "right": "left"}


def other_side(name: str) -> str:
    """Return a name with its words left and right exchanged: ``left arm`` is ``right arm``."""
    swap = {"left": "right", "right": "left"}
    return " ".join(swap.get(word, word) for word in name.split(" "))


def mirrored_anchor(anchor: Anchor, lines: Mapping[str, TapeLineDesign]) -> Anchor:
    """Return the anchor of the same words on the other side; see :func:`mirrored_line`."""
    match anchor:
        case LandmarkAnchor():
            return LandmarkAnchor(other_side(anchor.landmark))
        case HeightAnchor():
            return replace(anchor, bearing_rad=_mirrored_bearing(anchor.bearing_rad))
        case BetweenAnchor():
            low, high = map(other_side, anchor.between)
            return BetweenAnchor((low, high), anchor.part, _mirrored_bearing(anchor.bearing_rad))
        case AxisAnchor():
            return AxisAnchor(
                other_side(anchor.axis), anchor.along, _mirrored_bearing(anchor.bearing_rad)
            )
        case PointAnchor():
            return replace(anchor, x_mm=-anchor.x_mm)
        case LineAnchor():
            crossing = None if anchor.crossing is None else _twin(anchor.crossing, lines)
            twin, along = _twin(anchor.line, lines), anchor.along
            if along is not None and _runs_in_itself(lines[anchor.line]):
                # A round that is its own mirror runs on the same way: count from its other end.
                along = (1.0 - along) if isinstance(lines[anchor.line], LevelLine) else along
            return LineAnchor(twin, along, crossing)


def mirrored_line(design: TapeLineDesign, lines: Mapping[str, TapeLineDesign]) -> TapeLineDesign:
    """Return a line's design with every anchor mirrored, under the same name.

    Landmarks, limbs and directions change left for right, bearings their sense. Another line
    that the design leans on is exchanged for that line's mirrored one; a level of the trunk
    and the middle are their own.

    Parameters
    ----------
    lines
        All lines of the design by name.

    Raises
    ------
    DesignError
        When a line leant on has no mirrored one.
    """
    match design:
        case LevelLine():
            return replace(design, axis=other_side(design.axis))
        case SymmetryLine():
            return design
        case GeodesicLine() | ThroughLine():
            return replace(design, through=tuple(mirrored_anchor(a, lines) for a in design.through))
        case RoundLine():
            return replace(design, centre=mirrored_anchor(design.centre, lines))
        case ParallelLine():
            return replace(
                design,
                of=_twin(design.of, lines),
                towards=_TOWARDS.get(design.towards, design.towards),
            )
        case MirroredLine():
            return lines[design.of]


def _twin(name: str, lines: Mapping[str, TapeLineDesign]) -> str:
    """Name of the line that mirrors another: itself for one that lies the same on both sides."""
    if _runs_in_itself(lines[name]):
        return name
    design = lines[name]
    if isinstance(design, MirroredLine):
        return design.of
    for other in lines.values():
        if isinstance(other, MirroredLine) and other.of == name:
            return other.name
    raise DesignError(
        f"The line '{name}' has no mirrored one yet, which another mirrored line leans on.",
        f'Add a line of kind mirrored with of = "{name}".',
    )


def _runs_in_itself(design: TapeLineDesign) -> bool:
    return isinstance(design, SymmetryLine) or (
        isinstance(design, LevelLine) and other_side(design.axis) == design.axis
    )


def _mirrored_bearing(bearing_rad: float) -> float:
    return (-bearing_rad) % (2.0 * math.pi)
