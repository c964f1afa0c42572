"""The one drawing model: strokes, fills, holes and words on named layers, in millimetres.

x runs right, y runs up. Anything printable makes a :class:`Drawing`; exporters only
translate it. Coordinates are never rounded here: true scale is the point.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from fitkit.errors import ShapeError
from fitkit.geometry.arrays import Floats, frozen_floats

__all__ = ["Drawing", "Fill", "Hole", "Layer", "Stroke", "TextAnchor", "Words", "merge_drawings"]


class Layer(StrEnum):
    """What a line or a word is for; exporters choose width, dash and colour from it."""

    CUT = "cut"
    """Cut here: outline, notches, cut-outs."""
    EDGE = "edge"
    """The plate's own edge, inside an allowance: where the neighbour lies or the bend runs."""
    BEND = "bend"
    """Where the sheet is folded or rolled."""
    DRILL = "drill"
    """Holes to drill and their centres."""
    MARK = "mark"
    """Match marks, centre and level lines, arrows."""
    GRAIN = "grain"
    """Grain direction."""
    ART = "art"
    """An emblem or ornament: to be painted, engraved or embossed, never cut."""
    UNDERLAY = "underlay"
    """Contours of what the sheet has to give, light under all else."""
    WORDS = "words"
    """Everything to be read."""
    PAPER = "paper"
    """Belongs to the paper, not to the part: tile borders, register marks, check squares."""
    SOLID = "solid"
    """Solid black areas: marker sheets."""


class TextAnchor(StrEnum):
    """Which point of the words ``at_mm`` names."""

    LEFT = "left"
    CENTRE = "centre"
    RIGHT = "right"


def _points(values: Floats, name: str, at_least: int) -> Floats:
    points = frozen_floats(values, (None, 2), name)
    if len(points) < at_least:
        raise ShapeError(f"{name} has {len(points)} points, needs {at_least}.", "Add points.")
    return points


@dataclass(frozen=True, slots=True, eq=False)
class Stroke:
    """A polyline. ``points_mm`` (N, 2) float; a closed one does not repeat its first point."""

    points_mm: Floats
    layer: Layer
    closed: bool = False

    def __post_init__(self) -> None:
        object.__setattr__(self, "points_mm", _points(self.points_mm, "stroke", 2))


@dataclass(frozen=True, slots=True, eq=False)
class Fill:
    """A filled polygon without holes. ``points_mm`` (N, 2) float, first point not repeated."""

    points_mm: Floats
    layer: Layer = Layer.SOLID

    def __post_init__(self) -> None:
        object.__setattr__(self, "points_mm", _points(self.points_mm, "fill", 3))


@dataclass(frozen=True, slots=True, eq=False)
class Hole:
    """A round hole with its centre. ``centre_mm`` (2,) float."""

    centre_mm: Floats
    diameter_mm: float
    layer: Layer = Layer.DRILL

    def __post_init__(self) -> None:
        object.__setattr__(self, "centre_mm", frozen_floats(self.centre_mm, (2,), "centre_mm"))
        if not self.diameter_mm > 0:
            raise ShapeError(f"hole diameter is {self.diameter_mm} mm.", "Give a positive one.")


@dataclass(frozen=True, slots=True, eq=False)
class Words:
    """One line of text.

    Attributes
    ----------
    text
        The words; never mirrored by any operation here.
    at_mm
        (2,) float: the anchor on the base line.
    height_mm
        Height of a capital letter.
    angle_rad
        Direction of the base line, counter-clockwise from +x.
    """

    text: str
    at_mm: Floats
    height_mm: float
    angle_rad: float = 0.0
    anchor: TextAnchor = TextAnchor.LEFT
    layer: Layer = Layer.WORDS

    def __post_init__(self) -> None:
        object.__setattr__(self, "at_mm", frozen_floats(self.at_mm, (2,), "at_mm"))
        if not self.height_mm > 0:
            raise ShapeError(f"letter height is {self.height_mm} mm.", "Give a positive one.")


@dataclass(frozen=True, slots=True, eq=False)
class Drawing:
    """Everything to be drawn of one part or page, in millimetres."""

    name: str
    strokes: tuple[Stroke, ...] = ()
    fills: tuple[Fill, ...] = ()
    holes: tuple[Hole, ...] = ()
    words: tuple[Words, ...] = ()

    def bounds_mm(self) -> Floats:
        """(2, 2) float mm: lowest and highest corner over strokes, fills and holes.

        Words are placed inside the part they describe and do not widen it; a drawing of
        words alone is bounded by their anchors.

        Raises
        ------
        ShapeError
            When the drawing is empty.
        """
        clouds = [s.points_mm for s in self.strokes] + [f.points_mm for f in self.fills]
        for hole in self.holes:
            half = hole.diameter_mm / 2.0
            clouds.append(np.array([hole.centre_mm - half, hole.centre_mm + half]))
        if not clouds:
            clouds = [w.at_mm[None, :] for w in self.words]
        if not clouds:
            raise ShapeError(f"The drawing '{self.name}' is empty.", "Draw something first.")
        points = np.concatenate(clouds)
        return np.stack([points.min(axis=0), points.max(axis=0)])

    def moved(self, shift_mm: Floats, *, turn_rad: float = 0.0) -> Drawing:
        """Return the drawing turned about the origin, then shifted by (2,) mm."""
        c, s = np.cos(turn_rad), np.sin(turn_rad)
        turn = np.array([[c, -s], [s, c]])

        def place(points: Floats) -> Floats:
            placed: Floats = points @ turn.T + np.asarray(shift_mm, dtype=np.float64)
            return placed

        return replace(
            self,
            strokes=tuple(replace(x, points_mm=place(x.points_mm)) for x in self.strokes),
            fills=tuple(replace(x, points_mm=place(x.points_mm)) for x in self.fills),
            holes=tuple(replace(x, centre_mm=place(x.centre_mm)) for x in self.holes),
            words=tuple(
                replace(x, at_mm=place(x.at_mm), angle_rad=x.angle_rad + turn_rad)
                for x in self.words
            ),
        )


def merge_drawings(name: str, drawings: tuple[Drawing, ...] | list[Drawing]) -> Drawing:
    """Return one drawing holding everything of the given ones, in order."""
    return Drawing(
        name,
        strokes=tuple(x for d in drawings for x in d.strokes),
        fills=tuple(x for d in drawings for x in d.fills),
        holes=tuple(x for d in drawings for x in d.holes),
        words=tuple(x for d in drawings for x in d.words),
    )
