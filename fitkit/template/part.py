"""The drawn geometry of a part before any words are laid on it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from fitkit.drawing.drawing import Hole
from fitkit.geometry.arrays import Floats, frozen_floats

__all__ = ["GRAIN", "MatchMark", "NamedLine", "Part"]

GRAIN = "grain"
"""Name of the line that shows which way the sheet's grain runs."""


@dataclass(frozen=True, slots=True, eq=False)
class NamedLine:
    """A polyline, (N, 2) float mm, with the name of its tape line."""

    name: str
    points_mm: Floats

    def __post_init__(self) -> None:
        object.__setattr__(self, "points_mm", frozen_floats(self.points_mm, (None, 2), "points_mm"))


@dataclass(frozen=True, slots=True, eq=False)
class MatchMark:
    """A tick on an edge that has its like on the part that meets it there.

    Attributes
    ----------
    at_mm
        (2,) float: on the plate's own edge.
    inward
        (2,) float, unit: square to the edge, into the plate.
    label
        The same on both parts: the line that meets the edge here, a number, or a facing.
    line
        The edge's tape line.
    crossing
        Whether a tape line meets the edge here; else it is one of the numbers between.
    outward_mm
        Width of the allowance beyond the edge, which the tick crosses.
    """

    at_mm: Floats
    inward: Floats
    label: str
    line: str
    crossing: bool
    outward_mm: float = 0.0

    def __post_init__(self) -> None:
        object.__setattr__(self, "at_mm", frozen_floats(self.at_mm, (2,), "at_mm"))
        object.__setattr__(self, "inward", frozen_floats(self.inward, (2,), "inward"))


@dataclass(frozen=True, slots=True, eq=False)
class Part:
    """A part's lines on the paper, the wearer's up along +y, its cut line's lower left at (0, 0).

    Attributes
    ----------
    blank_mm
        (N, 2) float, counter-clockwise: the plate's own edge.
    cut_mm
        (M, 2) float, counter-clockwise: where to cut, allowances included.
    edges
        The plate's own edge by tape line, in order round the blank.
    lapped
        Those of them that an allowance lies beyond.
    inner_lines
        Tape lines across it.
    marks
        Match marks.
    holes
        To drill.
    footprints
        Closed lines within which other parts stand on it, by their names.
    folds
        Fold lines, by what is done there.
    art
        Lines of emblems, (N, 2) mm each, closed ones with their first point repeated.
    contours
        Lines of equal stretch, by how much it is.
    """

    blank_mm: Floats
    cut_mm: Floats
    edges: tuple[NamedLine, ...]
    lapped: tuple[NamedLine, ...] = ()
    inner_lines: tuple[NamedLine, ...] = ()
    marks: tuple[MatchMark, ...] = ()
    holes: tuple[Hole, ...] = ()
    footprints: tuple[NamedLine, ...] = ()
    folds: tuple[NamedLine, ...] = ()
    art: tuple[Floats, ...] = ()
    contours: tuple[NamedLine, ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "blank_mm", frozen_floats(self.blank_mm, (None, 2), "blank_mm"))
        object.__setattr__(
            self, "art", tuple(frozen_floats(line, (None, 2), "art") for line in self.art)
        )
        object.__setattr__(self, "cut_mm", frozen_floats(self.cut_mm, (None, 2), "cut_mm"))

    def blank_polygon(self) -> shapely.Polygon:
        """Return the plate's own area; a blank that lies over itself gives what it covers."""
        polygon = shapely.Polygon(self.blank_mm)
        if polygon.is_valid:
            return polygon
        whole = shapely.make_valid(polygon)
        return max(
            (piece for piece in shapely.get_parts(whole) if piece.geom_type == "Polygon"),
            key=lambda piece: float(piece.area),
        )

    def width_mm(self) -> float:
        """Return how wide the cut line is."""
        return float(np.ptp(self.cut_mm[:, 0]))
