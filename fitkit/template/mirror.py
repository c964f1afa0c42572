"""The one place where a part is mirrored for the wearer's other side.

Lines are mirrored; words never are. They are laid anew on the mirrored part, with left and
right exchanged in the names they hold.
"""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np

from fitkit.body.side import Side
from fitkit.geometry.arrays import Floats
from fitkit.template.part import NamedLine, Part

__all__ = ["mirrored_name", "mirrored_part", "part_and_twin"]

_OTHER = {"left": "right", "right": "left"}
_SIDE_WORD = re.compile(r"\b(left|right)\b", re.IGNORECASE)


def part_and_twin(part: Part, side: Side, *, paired: bool) -> tuple[tuple[int, Part, Side], ...]:
    """Return a part and, of a pair, its twin: 0 or for the twin 1, the part, its side."""
    drawn = (0, part, side)
    return (drawn, (1, mirrored_part(part), side.other)) if paired else (drawn,)


def mirrored_part(part: Part) -> Part:
    """Return the part for the wearer's other side, in the same place on the paper.

    Every point (x, y) goes to (width - x, y). Outlines are walked the other way, so that they stay
    counter-clockwise.
    """
    width = part.width_mm()

    def across(points: Floats) -> Floats:
        moved = points.copy()
        moved[..., 0] = width - moved[..., 0]
        return moved

    def line(one: NamedLine) -> NamedLine:
        return NamedLine(mirrored_name(one.name), across(one.points_mm)[::-1])

    return Part(
        across(part.blank_mm)[::-1],
        across(part.cut_mm)[::-1],
        tuple(line(edge) for edge in part.edges[::-1]),
        tuple(line(edge) for edge in part.lapped),
        tuple(line(inner) for inner in part.inner_lines),
        tuple(
            replace(
                mark,
                at_mm=across(mark.at_mm),
                inward=mark.inward * np.array([-1.0, 1.0]),
                label=mirrored_name(mark.label),
                line=mirrored_name(mark.line),
            )
            for mark in part.marks
        ),
        tuple(replace(hole, centre_mm=across(hole.centre_mm)) for hole in part.holes),
        tuple(line(footprint) for footprint in part.footprints),
        tuple(line(fold) for fold in part.folds),
        tuple(across(points) for points in part.art),
        tuple(line(contour) for contour in part.contours),
    )


def mirrored_name(name: str) -> str:
    """Return a name with the words left and right exchanged, as on the wearer's other side.

    Examples
    --------
    >>> mirrored_name("Left side seam"), mirrored_name("leftover")
    ('Right side seam', 'leftover')
    """

    def other(match: re.Match[str]) -> str:
        word = match.group(0)
        swapped = _OTHER[word.lower()]
        if word.isupper():
            return swapped.upper()
        return swapped.capitalize() if word[0].isupper() else swapped

    return _SIDE_WORD.sub(other, name)
