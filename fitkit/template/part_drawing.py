"""Drawing a part: lines by layer first, then words where the lines leave room."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from typing import TypeAlias

import numpy as np
import shapely

from fitkit.drawing.drawing import Drawing, Layer, Stroke, TextAnchor, Words
from fitkit.drawing.text_width import text_width_mm, words_box_mm
from fitkit.findings import Finding, Severity
from fitkit.geometry.arrays import Floats
from fitkit.template.free_space import FreeSpace
from fitkit.template.part import MatchMark, NamedLine, Part
from fitkit.template.words import (
    SMALLEST_MM,
    Block,
    box_of,
    label_beside,
    lay_block,
    lay_block_outside,
    name_along,
)

__all__ = ["part_drawing"]

_Piece: TypeAlias = "tuple[list[Stroke], list[Words]] | None"
_Maker: TypeAlias = Callable[[FreeSpace], _Piece]

# Lengths of ticks inside the plate's edge: a crossing's stands out from a numbered one's.
_CROSSING_TICK_MM = 7.0
_NUMBER_TICK_MM = 4.5
_EDGE_MARGIN_MM = 1.5
_RULE_MM = 50.0
_ARROW_LENGTHS_MM = (40.0, 30.0, 22.0, 15.0, 10.0)


def part_drawing(
    part: Part, block: Block, *, name: str, way: str | None = "UP"
) -> tuple[Drawing, tuple[Finding, ...]]:
    """Return a part's drawing and what could not be written on it.

    Words stand upright inside the plate's own edge; those about the part as large as fits. Where
    they do not fit at 3 mm they go beside the part, with a leader. ``way`` is what the arrow up
    the page points to on the wearer; None leaves the arrow out.
    """
    ticks = [(mark, _tick(mark)) for mark in part.marks]
    strokes = [
        Stroke(part.cut_mm, Layer.CUT, closed=True),
        *(Stroke(edge.points_mm, Layer.EDGE) for edge in part.lapped),
        *(Stroke(fold.points_mm, Layer.BEND) for fold in part.folds),
        *(Stroke(inner.points_mm, _inner_layer(inner)) for inner in part.inner_lines),
        *(Stroke(points, Layer.MARK) for _, points in ticks),
        *(Stroke(line.points_mm, Layer.MARK, closed=True) for line in part.footprints),
    ]
    words: list[Words] = []
    left_out: list[str] = []
    space = FreeSpace(part.blank_polygon(), _EDGE_MARGIN_MM)
    space.take([shapely.LineString(points) for _, points in ticks], 0.8)
    space.take(shapely.Point(hole.centre_mm).buffer(0.5 * hole.diameter_mm) for hole in part.holes)
    inner = [shapely.LineString(line.points_mm) for line in part.inner_lines]

    def put(found: Words | None, what: str) -> None:
        if found is None:
            left_out.append(what)
        else:
            words.append(found)
            space.take([box_of(found)])

    # The ticks' labels first: they can stand nowhere else.
    for mark, points in ticks:
        reach = float(np.linalg.norm(points[-1] - mark.at_mm))
        put(_label(mark, reach, space, inner), f"'{mark.label}' at a tick on '{mark.line}'")

    laid = lay_block(block, space.without(inner, 3.0)) or lay_block(block, space)
    if laid is not None:
        words += laid
        space.take([box_of(one) for one in laid])
    for edge in part.edges:
        put(
            name_along(edge.name, edge.points_mm, space.without(inner), sides=(1.0,)),
            f"'{edge.name}' along its edge",
        )
    space.take(inner, 0.5)
    for line in part.footprints:
        put(_inside_footprint(line, space), f"'{line.name}' at its place")
    space.take(shapely.LinearRing(line.points_mm) for line in part.footprints)
    for line in part.inner_lines:
        put(
            name_along(line.name, line.points_mm, space, sides=(1.0, -1.0), height_mm=SMALLEST_MM),
            f"'{line.name}' along its line",
        )
    makers: list[_Maker] = [_rule] if way is None else [partial(_arrow, way=way), _rule]
    for make in makers:
        piece = make(space)
        if piece is not None:
            strokes += piece[0]
            words += piece[1]
            space.take([box_of(one) for one in piece[1]])
            space.take([shapely.LineString(stroke.points_mm) for stroke in piece[0]])
    if laid is None:
        outside, leader = lay_block_outside(block, part.cut_mm)
        words += outside
        strokes += leader
    drawing = Drawing(name, strokes=tuple(strokes), holes=part.holes, words=tuple(words))
    return drawing, _left_out_findings(name, left_out)


def _inner_layer(line: NamedLine) -> Layer:
    return Layer.GRAIN if line.name == "grain" else Layer.MARK


def _tick(mark: MatchMark) -> Floats:
    length = _CROSSING_TICK_MM if mark.crossing else _NUMBER_TICK_MM
    return np.stack([mark.at_mm - mark.inward * mark.outward_mm, mark.at_mm + mark.inward * length])


def _label(
    mark: MatchMark, reach: float, space: FreeSpace, inner: Sequence[shapely.Geometry]
) -> Words | None:
    clear = label_beside(mark.label, mark.at_mm, mark.inward, reach, space.without(inner))
    return clear or label_beside(mark.label, mark.at_mm, mark.inward, reach, space)


def _inside_footprint(line: NamedLine, space: FreeSpace) -> Words | None:
    """Return a name in the middle of the place where another part stands, or under it."""
    low, high = line.points_mm.min(axis=0), line.points_mm.max(axis=0)
    middle = 0.5 * (low + high)
    height = SMALLEST_MM
    tried = [
        Words(line.name, np.array([middle[0], y]), height, 0.0, TextAnchor.CENTRE)
        for y in (middle[1] - 0.5 * height, low[1] - 2.0 * height, high[1] + height)
    ]
    found = space.first_fit(np.array([words_box_mm(words) for words in tried]))
    return None if found is None else tried[found]


def _arrow(space: FreeSpace, way: str) -> _Piece:
    """Return the arrow up the page with its word, where there is room."""
    for length in _ARROW_LENGTHS_MM:
        height = max(SMALLEST_MM, length / 7.0)
        width = text_width_mm(way, height)
        head = length / 4.0
        # From below: the word with its tails, a gap, the arrow.
        whole = (0.35 + 1.6) * height + length
        centre = space.roomiest_centre(max(width, head) + 1.0, whole + 1.0)
        if centre is None:
            continue
        base = centre + np.array([0.0, 0.35 * height - 0.5 * whole])
        tail = base + np.array([0.0, 1.6 * height])
        tip = tail + np.array([0.0, length])
        barbs = np.array([[-0.4 * head, -head], [0.0, 0.0], [0.4 * head, -head]]) + tip
        strokes = [Stroke(np.stack([tail, tip]), Layer.MARK), Stroke(barbs, Layer.MARK)]
        word = Words(way, base, height, 0.0, TextAnchor.CENTRE, Layer.MARK)
        return strokes, [word]
    return None


def _rule(space: FreeSpace) -> _Piece:
    """Return a rule to check the print with, where there is room."""
    height = SMALLEST_MM
    centre = space.roomiest_centre(_RULE_MM + 4.0, 4.0 + 2.6 * height)
    if centre is None:
        return None
    start = centre + np.array([-0.5 * _RULE_MM, 0.8 * height])
    strokes = [Stroke(np.stack([start, start + np.array([_RULE_MM, 0.0])]), Layer.MARK)]
    for step in range(6):
        foot = start + np.array([10.0 * step, 0.0])
        up = 3.0 if step in (0, 5) else 1.5
        strokes.append(Stroke(np.stack([foot, foot + np.array([0.0, up])]), Layer.MARK))
    below = centre - np.array([0.0, 1.0 * height])
    return strokes, [Words(f"{_RULE_MM:g} mm", below, height, 0.0, TextAnchor.CENTRE)]


def _left_out_findings(name: str, left_out: Sequence[str]) -> tuple[Finding, ...]:
    if not left_out:
        return ()
    return (
        Finding(
            "words-left-out",
            Severity.NOTE,
            name,
            f"There was no room for {len(left_out)} of its words: {', '.join(left_out)}.",
            number=float(len(left_out)),
        ),
    )
