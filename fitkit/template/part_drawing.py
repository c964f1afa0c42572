"""Drawing a part: lines by layer first, then words where the lines leave room."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from functools import partial
from typing import TypeAlias

import numpy as np
import shapely

from fitkit.drawing.drawing import Drawing, Fill, Layer, Stroke, TextAnchor, Words
from fitkit.drawing.line_style import centre_cross_arm_mm
from fitkit.drawing.text_width import text_width_mm, words_box_mm
from fitkit.findings import Finding, Severity
from fitkit.geometry.arrays import Floats
from fitkit.template.free_space import FreeSpace
from fitkit.template.part import GRAIN, MatchMark, NamedLine, Part
from fitkit.template.part_tag import PART_TAG_SIDE_MM, part_tag
from fitkit.template.words import (
    SMALLEST_MM,
    Block,
    box_of,
    label_beside,
    lay_block,
    lay_block_outside,
    name_along,
    tag_beside,
)

__all__ = ["part_drawing"]

_Piece: TypeAlias = "tuple[list[Stroke], list[Words]] | None"
_Maker: TypeAlias = Callable[[FreeSpace], _Piece]

# Lengths of ticks inside the plate's edge: a crossing's stands out from a numbered one's.
_CROSSING_TICK_MM = 7.0
_NUMBER_TICK_MM = 4.5
_EDGE_MARGIN_MM = 1.5
_STRIP_MARGIN_MM = 1.0
_FROM_LINE_MM = 1.5
# Wider than a blank, so that two labels side by side are not read as one.
_BETWEEN_WORDS_MM = 2.4
# Without those that are taken for figures.
_LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ"
_RULE_MM = 50.0
_BARB_MM = 6.0
# White round a tag, without which it is not read: one of its squares and a little.
_QUIET_MM = 2.5
_LONG_CONTOUR_MM = 40.0
_ARROW_LENGTHS_MM = (40.0, 30.0, 22.0, 15.0, 10.0)


def part_drawing(
    part: Part, block: Block, *, name: str, way: str | None = "UP", number: int | None = None
) -> tuple[Drawing, tuple[Finding, ...]]:
    """Return a part's drawing and what could not be written on it.

    Words stand upright inside the plate's own edge, else in the strip beyond it; those about the
    part as large as fits. What finds no room where it belongs is told by a ringed letter there and
    spelled out with the words about the part; where those do not fit at 3 mm they go beside the
    part, with a leader. ``way`` is what the arrow up the page points to on the wearer; None leaves
    the arrow out. A ``number`` is printed as a tag too, where there is room, so that a photo of the
    piece tells which part it is.
    """
    ticks = [(mark, _tick(mark)) for mark in part.marks]
    page = _Page(part, [points for _, points in ticks])
    # The ticks' labels first: they can stand nowhere else. Then what is done along the edges.
    for mark, points in ticks:
        page.label(mark, points)
    for edge in part.edges:
        page.name_edge(edge)
    for line in part.footprints:
        page.name_footprint(line)
    # Where a line across the part ends at a tick that bears its name, that is enough.
    known = {mark.label for mark in part.marks}
    for line in part.inner_lines:
        if line.name not in known:
            page.name_inner(line)
    block = replace(block, lines=(*block.lines, *page.key()))
    laid = lay_block(block, page.clear) or lay_block(block, page.near)
    if laid is not None:
        page.write(laid)
    fills = [] if number is None else page.tag(number)
    makers: list[_Maker] = [_rule] if way is None else [partial(_arrow, way=way), _rule]
    for make in makers:
        piece = make(page.clear)
        if piece is not None:
            page.draw(piece[0])
            page.write(piece[1])
    # The underlay comes last: it gives way to all words, its own among them.
    for contour in part.contours:
        page.underlay(contour)
    if laid is None:
        outside, leader = lay_block_outside(block, part.cut_mm)
        page.words += outside
        page.strokes += leader
    drawing = Drawing(
        name,
        strokes=tuple(page.strokes),
        fills=tuple(fills),
        holes=part.holes,
        words=tuple(page.words),
    )
    return drawing, _left_out_findings(name, page.left_out)


class _Page:
    """A part's lines, the words laid on it so far, and the room left for more.

    Attributes
    ----------
    clear
        Room on the plate well clear of every line.
    near
        The same up close to the lines that run across the plate.
    strip
        Room beyond the plate's edge.
    """

    def __init__(self, part: Part, ticks: Sequence[Floats]) -> None:
        across = [stroke for line in part.inner_lines for stroke in _inner_strokes(line)]
        self.strokes = [
            Stroke(part.cut_mm, Layer.CUT, closed=True),
            *(Stroke(edge.points_mm, Layer.EDGE) for edge in part.lapped),
            *(Stroke(fold.points_mm, Layer.BEND) for fold in part.folds),
            *across,
            *(Stroke(points, Layer.MARK) for points in ticks),
            *(Stroke(line.points_mm, Layer.MARK, closed=True) for line in part.footprints),
            *(Stroke(points, Layer.ART) for points in part.art),
        ]
        self.words: list[Words] = []
        self.left_out: list[str] = []
        self._letters: dict[str, str] = {}
        blank = part.blank_polygon()
        self.near = FreeSpace(blank, _EDGE_MARGIN_MM)
        beyond = shapely.Polygon(part.cut_mm).buffer(0).difference(blank)
        self.strip = FreeSpace(beyond, _STRIP_MARGIN_MM)
        for room in (self.near, self.strip):
            room.take((shapely.LineString(points) for points in ticks), 0.8)
            room.take((shapely.LineString(fold.points_mm) for fold in part.folds), 0.8)
            room.take((shapely.LinearRing(line.points_mm) for line in part.footprints), 0.8)
            room.take(
                shapely.Point(hole.centre_mm).buffer(centre_cross_arm_mm(hole))
                for hole in part.holes
            )
        inner = [shapely.LineString(stroke.points_mm) for stroke in across]
        inner += [shapely.LineString(points) for points in part.art]
        self.clear = self.near.without(inner)
        self.near.take(inner, 0.5)

    def draw(self, strokes: Sequence[Stroke]) -> None:
        """Add lines and use up their room."""
        self.strokes += strokes
        self._take([shapely.LineString(stroke.points_mm) for stroke in strokes], _FROM_LINE_MM)

    def write(self, words: Sequence[Words]) -> None:
        """Add words and use up their room."""
        self.words += words
        self._take([box_of(one) for one in words], _BETWEEN_WORDS_MM)

    def tag(self, number: int) -> list[Fill]:
        """Return the part's tag where there is room for it, and use that up."""
        fills = part_tag(number)
        side = PART_TAG_SIDE_MM + 2.0 * _QUIET_MM
        centre = self.clear.roomiest_centre(side, side) if fills else None
        if centre is None:
            return []
        self._take([shapely.Point(centre).buffer(0.5 * side, cap_style="square")], _FROM_LINE_MM)
        return [Fill(fill.points_mm + centre) for fill in fills]

    def key(self) -> list[str]:
        """Return what the letters stand for, a line each."""
        return [f"{letter} = {said}" for said, letter in self._letters.items()]

    def label(self, mark: MatchMark, tick: Floats) -> None:
        """Write a tick's label at its inner end."""
        reach = float(np.linalg.norm(tick[-1] - mark.at_mm))
        found = (
            label_beside(mark.label, mark.at_mm, mark.inward, reach, room)
            for room in (self.clear, self.near)
        )
        self._put(
            found, mark.label, tick, (1.0, -1.0), f"'{mark.label}' at a tick on '{mark.line}'"
        )

    def name_edge(self, edge: NamedLine) -> None:
        """Write along an edge what it is and what is done there."""
        found = (
            name_along(edge.name, edge.points_mm, room, sides=(side,))
            for room, side in ((self.clear, 1.0), (self.strip, -1.0))
        )
        self._put(found, edge.name, edge.points_mm, (1.0,), f"'{edge.name}' along its edge")

    def name_inner(self, line: NamedLine) -> None:
        """Write along a line that runs across the part which one it is."""
        sides = (1.0, -1.0)
        found = name_along(line.name, line.points_mm, self.near, sides=sides, height_mm=SMALLEST_MM)
        self._put([found], line.name, line.points_mm, sides, f"'{line.name}' along its line")

    def name_footprint(self, line: NamedLine) -> None:
        """Write what stands at a place in the middle of it, or under it."""
        low, high = line.points_mm.min(axis=0), line.points_mm.max(axis=0)
        middle = 0.5 * (low + high)
        height = SMALLEST_MM
        tried = [
            Words(line.name, np.array([middle[0], y]), height, 0.0, TextAnchor.CENTRE)
            for y in (middle[1] - 0.5 * height, low[1] - 2.0 * height, high[1] + height)
        ]
        found = self.near.first_fit(np.array([words_box_mm(words) for words in tried]))
        at = np.vstack([line.points_mm, line.points_mm[:1]])
        put = None if found is None else tried[found]
        self._put([put], line.name, at, (1.0, -1.0), f"'{line.name}' at its place")

    def underlay(self, contour: NamedLine) -> None:
        """Draw a line of equal stretch where it meets no words, with its figure in a gap of it."""
        line = shapely.LineString(contour.points_mm)
        if line.length > _LONG_CONTOUR_MM:
            for share in (0.5, 0.3, 0.7, 0.15, 0.85):
                at = np.array(line.interpolate(share, normalized=True).coords[0])
                base = at - np.array([0.0, 0.5 * SMALLEST_MM])
                figure = Words(
                    contour.name, base, SMALLEST_MM, 0.0, TextAnchor.CENTRE, Layer.UNDERLAY
                )
                if self.near.first_fit(words_box_mm(figure)[None]) is not None:
                    self.write([figure])
                    break
        clear = line.difference(shapely.union_all([box_of(one) for one in self.words]).buffer(0.4))
        self.strokes += [
            Stroke(shapely.get_coordinates(piece), Layer.UNDERLAY)
            for piece in shapely.get_parts(clear)
            if piece.length > 1.0
        ]

    def _take(self, shapes: Sequence[shapely.Geometry], gap_mm: float) -> None:
        FreeSpace.take_alike((self.clear, self.near, self.strip), shapes, gap_mm)

    def _put(
        self,
        found: Iterable[Words | None],
        said: str,
        beside: Floats,
        sides: Sequence[float],
        where: str,
    ) -> None:
        """Write the first of the ways found, else a letter that the key explains."""
        words = next((one for one in found if one is not None), None)
        if words is not None:
            self.write([words])
            return
        letter = self._letters.get(said, _LETTERS[len(self._letters) : len(self._letters) + 1])
        tag = tag_beside(letter, beside, self.near, sides=sides) if letter else None
        if tag is None:
            self.left_out.append(where)
            return
        self._letters[said] = letter
        self.write([tag.words])
        self.draw([tag.ring])


def _inner_strokes(line: NamedLine) -> list[Stroke]:
    """Return a line across the part; the grain's bears an arrow's head at both ends."""
    if line.name != GRAIN:
        return [Stroke(line.points_mm, Layer.MARK)]
    heads = []
    for points in (line.points_mm, line.points_mm[::-1]):
        arc = np.concatenate([[0.0], np.linalg.norm(np.diff(points, axis=0), axis=1).cumsum()])
        inner = np.array([np.interp(_BARB_MM, arc, points[:, k]) for k in range(2)])
        back = inner - points[0]
        across = 0.35 * np.array([-back[1], back[0]])
        barbs = np.stack([inner + across, points[0], inner - across])
        heads.append(Stroke(barbs, Layer.GRAIN))
    return [Stroke(line.points_mm, Layer.GRAIN), *heads]


def _tick(mark: MatchMark) -> Floats:
    length = _CROSSING_TICK_MM if mark.crossing else _NUMBER_TICK_MM
    return np.stack([mark.at_mm - mark.inward * mark.outward_mm, mark.at_mm + mark.inward * length])


def _arrow(space: FreeSpace, way: str) -> _Piece:
    """Return the arrow up the page with its word, where there is room."""
    for length in _ARROW_LENGTHS_MM:
        height = max(SMALLEST_MM, length / 7.0)
        width = text_width_mm(way, height)
        head = length / 4.0
        # From below: the word with its tails, a gap, the arrow.
        whole = (0.35 + 1.6) * height + length
        centre = space.roomiest_centre(max(width, head) + 4.0, whole + 2.0)
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
