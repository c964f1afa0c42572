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
    "CHECK_SIDE_MM",
    "CUT_INSET_MM",
    "Neighbours",
    "PageFrame",
    "check_square",
    "foot_line",
    "free_corner_for_check_square",
    "join_lines",
]

CHECK_SIDE_MM = 100.0
"""Side of the square the maker measures after printing."""

CUT_INSET_MM = 3.0
"""The join lies this far inside the tile, so that a cross on it is printed whole on both."""

_FOOT_MM = 8.0
_TICK_MM = 10.0
# How far the words along the check square's lower side reach.
_LABEL_MM = 50.0


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


def check_square(corner_mm: Floats, note: str = "") -> Drawing:
    """Return the check square with its lower left corner at (2,) mm.

    Its sides carry a tick every 10 mm. They are thin and grey so that a template underneath
    stays in front.
    """
    x, y = float(corner_mm[0]), float(corner_mm[1])
    s = CHECK_SIDE_MM
    strokes = [
        Stroke(np.array([[x, y], [x + s, y], [x + s, y + s], [x, y + s]]), Layer.PAPER, True)
    ]
    for i in range(1, int(s / _TICK_MM)):
        at, long = i * _TICK_MM, 3.0 if i == 5 else 1.6
        strokes += [
            _line((x + at, y), (x + at, y + long)),
            _line((x + at, y + s - long), (x + at, y + s)),
            _line((x, y + at), (x + long, y + at)),
            _line((x + s - long, y + at), (x + s, y + at)),
        ]
    label = "check: 100 mm" + (f" · {note}" if note else "")
    words = (
        Words(label, np.array([x + 2.4, y + 2.6]), 2.5, layer=Layer.PAPER),
        Words("100 mm", np.array([x + s - 2.6, y + 4.0]), 2.5, math.pi / 2.0, layer=Layer.PAPER),
    )
    return Drawing("check square", strokes=tuple(strokes), words=words)


def free_corner_for_check_square(
    frame: PageFrame, lines: shapely.Geometry, words: shapely.Geometry
) -> Floats:
    """(2,) float mm: lower left corner of the check square where it disturbs least.

    Parameters
    ----------
    frame
        The page.
    lines, words
        What is drawn on it, in page coordinates.

    Notes
    -----
    Lines that run along or under the square's sides count in full, those inside it hardly;
    words under a side count most. Of equal places the lowest, leftmost is taken.
    """
    inset = 2.0 * CUT_INSET_MM + 8.0
    low, high = frame.low_mm + inset, frame.high_mm - inset - CHECK_SIDE_MM
    places = []
    for y in np.linspace(low[1], max(high[1], low[1]), 9):
        for x in np.linspace(low[0], max(high[0], low[0]), 6):
            square = shapely.box(x, y, x + CHECK_SIDE_MM, y + CHECK_SIDE_MM)
            rim = square.exterior.buffer(2.5)
            cost = shapely.length(shapely.intersection(lines, rim))
            cost += 0.05 * shapely.length(shapely.intersection(lines, square))
            label = shapely.box(x + 2.0, y + 1.5, x + _LABEL_MM, y + 5.5)
            upright = shapely.box(x + CHECK_SIDE_MM - 6.0, y + 2.0, x + CHECK_SIDE_MM, y + 20.0)
            said = shapely.union_all([rim, label, upright])
            cost += 4.0 * shapely.area(shapely.intersection(words, said))
            cost += shapely.length(shapely.intersection(lines, label))
            places.append((round(float(cost), 3), float(y), float(x)))
    _, y, x = min(places)
    return np.array([x, y])


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
