"""What belongs to the paper: check square, join lines, register marks and the foot line."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely

from fitkit.drawing.drawing import Drawing, Layer, Stroke, TextAnchor, Words
from fitkit.drawing.paper import Paper
from fitkit.drawing.text_width import shortened, text_width_mm
from fitkit.errors import DesignError
from fitkit.geometry.arrays import Floats

__all__ = [
    "CHECK_SIDES_MM",
    "CHECK_SIDE_MM",
    "CUT_INSET_MM",
    "Neighbours",
    "PageFrame",
    "check_square",
    "foot_line",
    "join_lines",
    "place_for_check_square",
]

CHECK_SIDE_MM = 100.0
"""Side of the square the maker measures after printing."""

CHECK_SIDES_MM = (CHECK_SIDE_MM, 50.0)
"""Sides it may have on a page full of parts, the page map's is always the first."""

CUT_INSET_MM = 3.0
"""The join lies this far inside the tile, so that a cross on it is printed whole on both."""

_FOOT_MM = 8.0
_TICK_MM = 10.0
# How far the words along the check square's lower side reach.
_LABEL_MM = 48.0
# The square keeps this far from lines and words; places for it lie this far apart.
_CLEAR_MM = 2.0
_GRID_MM = 6.0
_CELL_MM = 1.0


@dataclass(frozen=True, slots=True)
class PageFrame:
    """A paper's usable area: inside the margin, above the foot line.

    Raises
    ------
    DesignError
        When the check square finds no room in it.
    """

    paper: Paper
    margin_mm: float

    def __post_init__(self) -> None:
        if min(self.width_mm, self.height_mm) < CHECK_SIDE_MM + 10.0:
            raise DesignError(
                f"{self.paper.name} with {self.margin_mm:g} mm margins leaves "
                f"{self.width_mm:.0f} × {self.height_mm:.0f} mm.",
                "Use larger paper or narrower margins.",
            )

    @property
    def width_mm(self) -> float:
        """Usable width."""
        return self.paper.width_mm - 2.0 * self.margin_mm

    @property
    def height_mm(self) -> float:
        """Usable height."""
        return self.paper.height_mm - 2.0 * self.margin_mm - _FOOT_MM

    @property
    def low_mm(self) -> Floats:
        """(2,) float mm: lower left corner of the usable area."""
        return np.array([self.margin_mm, self.margin_mm + _FOOT_MM])

    @property
    def high_mm(self) -> Floats:
        """(2,) float mm: upper right corner of the usable area."""
        high: Floats = self.low_mm + np.array([self.width_mm, self.height_mm])
        return high

    @property
    def clip_mm(self) -> Floats:
        """(2, 2) float mm: both corners."""
        return np.stack([self.low_mm, self.high_mm])


@dataclass(frozen=True, slots=True)
class Neighbours:
    """Names of the tiles next to one, None where there is none."""

    left: str | None = None
    right: str | None = None
    above: str | None = None
    below: str | None = None


def _line(*points: tuple[float, float], layer: Layer = Layer.PAPER) -> Stroke:
    return Stroke(np.array(points), layer)


def foot_line(frame: PageFrame, *, label: str, page: int, count: int) -> Drawing:
    """Return the line of words at the foot of a page."""
    low, high = frame.low_mm, frame.high_mm
    base = frame.margin_mm + 0.8
    right = f"page {page} of {count} · {frame.paper.name} · print at 100 %"
    room = frame.width_mm - text_width_mm(right, 2.5) - 6.0
    left = shortened(label, 3.0, room)
    return Drawing(
        "foot",
        words=(
            Words(left, np.array([low[0], base]), 3.0),
            Words(right, np.array([high[0], base]), 2.5, anchor=TextAnchor.RIGHT),
        ),
    )


def check_square(
    corner_mm: Floats,
    note: str = "",
    *,
    side_mm: float = CHECK_SIDE_MM,
    beside: shapely.Geometry | None = None,
) -> Drawing:
    """Return the check square with its lower left corner at (2,) mm.

    Its sides carry a tick every 10 mm. They are thin and grey, and broken where they would meet
    what is drawn ``beside``, so that a template underneath stays in front. A small one has no room
    for the note.
    """
    x, y = float(corner_mm[0]), float(corner_mm[1])
    s = side_mm
    square = np.array([[x, y], [x + s, y], [x + s, y + s], [x, y + s]])
    lines = [shapely.LinearRing(square)]
    for i in range(1, round(s / _TICK_MM)):
        at, long = i * _TICK_MM, 3.0 if 2 * i * _TICK_MM == s else 1.6
        ends = (
            ((x + at, y), (x + at, y + long)),
            ((x + at, y + s - long), (x + at, y + s)),
            ((x, y + at), (x + long, y + at)),
            ((x + s - long, y + at), (x + s, y + at)),
        )
        lines += [shapely.LineString(tick) for tick in ends]
    keep_off = None if beside is None else shapely.buffer(beside, _CLEAR_MM)
    strokes = []
    for line in lines:
        if keep_off is None or not line.intersects(keep_off):
            points, closed = shapely.get_coordinates(line), line.is_closed
            strokes.append(Stroke(points[:-1] if closed else points, Layer.PAPER, closed))
            continue
        strokes += [
            Stroke(shapely.get_coordinates(piece), Layer.PAPER)
            for piece in shapely.get_parts(shapely.line_merge(line.difference(keep_off)))
            if piece.length > 1.0
        ]
    label = f"check: {s:g} mm" + (f" · {note}" if note and s >= CHECK_SIDE_MM else "")
    words = (
        Words(label, np.array([x + 2.4, y + 2.6]), 2.5, layer=Layer.PAPER),
        Words(f"{s:g} mm", np.array([x + s - 2.6, y + 4.0]), 2.5, math.pi / 2.0, layer=Layer.PAPER),
    )
    return Drawing("check square", strokes=tuple(strokes), words=words)


def place_for_check_square(
    frame: PageFrame, lines: shapely.Geometry, words: shapely.Geometry
) -> tuple[Floats, float]:
    """Return the lower left corner (2,) mm of a page's check square, and its side.

    Parameters
    ----------
    frame
        The page.
    lines, words
        What is drawn on it, in page coordinates.

    Notes
    -----
    The largest that meets no line and no words is taken, the lowest, leftmost place first. Where
    even the smallest meets some, the largest stands where it meets least; lines that run along its
    sides count in full, those inside it hardly, words most.
    """
    on_lines, on_words = _Crowd(frame, lines), _Crowd(frame, words)
    least: tuple[float, Floats] | None = None
    for side in CHECK_SIDES_MM:
        corners = _corners(frame, side)
        met = np.zeros(len(corners))
        for low, high in _said_and_drawn(side):
            met += on_lines.between(corners + low, corners + high)
            met += 4.0 * on_words.between(corners + low, corners + high)
        inside = 0.05 * on_lines.between(corners, corners + side)
        best = int(np.argmin(1e6 * met + inside))
        if met[best] == 0:
            return corners[best], side
        if least is None:
            least = side, corners[best]
    assert least is not None
    return least[1], least[0]


class _Crowd:
    """How much is drawn where on a page: counted in cells, summed from the lower left corner on."""

    def __init__(self, frame: PageFrame, drawn: shapely.Geometry) -> None:
        self._low = frame.low_mm
        size = np.ceil((frame.high_mm - frame.low_mm) / _CELL_MM).astype(int) + 1
        at = shapely.get_coordinates(shapely.segmentize(drawn, _CELL_MM)) - self._low
        x, y = np.clip((at / _CELL_MM).astype(int), 0, size - 1).T
        counts = np.zeros(size)
        np.add.at(counts, (x, y), 1.0)
        self._sums = np.zeros(size + 1)
        self._sums[1:, 1:] = counts.cumsum(axis=0).cumsum(axis=1)

    def between(self, low_mm: Floats, high_mm: Floats) -> Floats:
        """(P,) float: how much is drawn in rectangles with these corners, (P, 2) each."""
        most = np.array(self._sums.shape) - 1
        x0, y0 = np.clip(((low_mm - self._low) / _CELL_MM).astype(int), 0, most).T
        x1, y1 = np.clip(np.ceil((high_mm - self._low) / _CELL_MM).astype(int), 0, most).T
        sums = self._sums
        counts: Floats = sums[x1, y1] - sums[x0, y1] - sums[x1, y0] + sums[x0, y0]
        return counts


def _said_and_drawn(side_mm: float) -> list[tuple[Floats, Floats]]:
    """Return the rectangles that a square's sides and words take up, from its lower left corner."""
    s, c = side_mm, _CLEAR_MM
    rectangles = (
        ((-c, -c), (s + c, c)),
        ((-c, s - c), (s + c, s + c)),
        ((-c, c), (c, s - c)),
        ((s - c, c), (s + c, s - c)),
        ((0.0, c), (_LABEL_MM, 6.5)),
        ((s - 7.0, c), (s - c, 21.0)),
    )
    return [(np.array(low), np.array(high)) for low, high in rectangles]


def _corners(frame: PageFrame, side_mm: float) -> Floats:
    """(P, 2) float mm: places for a square's lower left corner, lower ones first."""
    inset = 2.0 * CUT_INSET_MM + 8.0
    low, high = frame.low_mm + inset, frame.high_mm - inset - side_mm
    high = np.maximum(high, low)
    counts = np.maximum(np.ceil((high - low) / _GRID_MM).astype(int), 0) + 1
    x, y = np.meshgrid(*(np.linspace(low[k], high[k], counts[k]) for k in range(2)))
    return np.column_stack([x.ravel(), y.ravel()])


def _dashes(start: tuple[float, float], end: tuple[float, float]) -> list[Stroke]:
    """Broken line made of single strokes, so that it differs from the cut line in any format."""
    a, b = np.array(start), np.array(end)
    length = float(np.linalg.norm(b - a))
    count = max(int(length // 6.0), 1)
    along = (b - a) / length
    pitch = length / count
    return [
        Stroke(
            np.array([a + along * pitch * i, a + along * (pitch * i + 0.55 * pitch)]), Layer.PAPER
        )
        for i in range(count)
    ]


def _cross(x: float, y: float) -> list[Stroke]:
    arm = CUT_INSET_MM
    return [
        _line((x - arm, y), (x + arm, y), layer=Layer.MARK),
        _line((x, y - arm), (x, y + arm), layer=Layer.MARK),
    ]


def join_lines(frame: PageFrame, around: Neighbours, *, overlap_mm: float) -> Drawing:
    """Return the lines along which a tile is joined to its neighbours.

    Left and top are cut along an unbroken line and laid over the neighbour; right and bottom
    are left whole and go under it, up to a broken line. So the tiles are joined in reading
    order, and only two sides of each are ever cut. A cross sits on both tiles wherever a join
    line passes a fifth from its ends: the cut edge passes through its middle.
    """
    (x0, y0), (x1, y1) = frame.low_mm, frame.high_mm
    strokes: list[Stroke] = []
    words: list[Words] = []
    small = 2.2

    def say(text: str, x: float, y: float, angle: float = 0.0) -> None:
        words.append(Words(text, np.array([x, y]), small, angle, TextAnchor.CENTRE, Layer.PAPER))

    middle_x, middle_y = (x0 + x1) / 2.0, (y0 + y1) / 2.0
    spots_y = [y0 + f * (y1 - y0) for f in (0.2, 0.8)]
    spots_x = [x0 + f * (x1 - x0) for f in (0.2, 0.8)]
    if around.left:
        x = x0 + CUT_INSET_MM
        strokes.append(_line((x, y0), (x, y1)))
        strokes += [stroke for y in spots_y for stroke in _cross(x, y)]
        say(f"cut along the line, lay over {around.left}", x0 - 1.0, middle_y, math.pi / 2.0)
    if around.above:
        y = y1 - CUT_INSET_MM
        strokes.append(_line((x0, y), (x1, y)))
        strokes += [stroke for x in spots_x for stroke in _cross(x, y)]
        say(f"cut along the line, lay over {around.above}", middle_x, y1 + 1.0)
    if around.right:
        x = x1 - overlap_mm + CUT_INSET_MM
        strokes += _dashes((x, y0), (x, y1))
        strokes += [stroke for y in spots_y for stroke in _cross(x, y)]
        say(f"glue: {around.right} lies over this", x1 + 1.0 + small, middle_y, math.pi / 2.0)
    if around.below:
        y = y0 + overlap_mm - CUT_INSET_MM
        strokes += _dashes((x0, y), (x1, y))
        strokes += [stroke for x in spots_x for stroke in _cross(x, y)]
        say(f"glue: {around.below} lies over this", middle_x, y0 - 1.0 - small)
    return Drawing("joins", strokes=tuple(strokes), words=tuple(words))
