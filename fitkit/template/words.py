"""Laying words on a part so that they can be read and cross nothing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from fitkit.drawing.drawing import Layer, Stroke, TextAnchor, Words
from fitkit.drawing.text_width import text_width_mm, words_box_mm, wrapped
from fitkit.geometry.arrays import Floats
from fitkit.template.free_space import FreeSpace

__all__ = [
    "SMALLEST_MM",
    "Block",
    "Tag",
    "label_beside",
    "lay_block",
    "lay_block_outside",
    "name_along",
    "tag_beside",
]

SMALLEST_MM = 3.0
"""Capital height below which words on a template are not read in a workshop.

ISO 3098 letter heights run 1.8, 2.5, 3.5, 5, 7, 10 mm (from memory); 3 mm and more is common
practice for reading at arm's length.
"""
_TITLE_HEIGHTS_MM = (12.0, 10.0, 8.0, 7.0, 6.0, 5.0, 4.2, 3.5, SMALLEST_MM)
_LINE_PITCH = 1.7
_BETWEEN = " · "
_STEEP = 0.1
_BODY_OF_TITLE = 0.6
# A column narrower than this, in letter heights, is a tangle of broken facts.
_LEAST_COLUMN = 15.0
# Column widths tried, by the block's longest line; from the wider ones down facts share lines.
_PACKED_SHARES = (4.0, 2.5, 1.8, 1.4, 1.15)
_BROKEN_SHARES = (0.8, 0.6, 0.45, 0.3)
_TAG_RADIUS_MM = 3.2
# Words in a part's hollow keep this far from it, so that they are plainly not on it.
_HOLLOW_MARGIN_MM = 8.0
# Where along a line its name is tried, and how far from it.
_SHARES_ALONG = (0.5, 0.4, 0.6, 0.3, 0.7, 0.2, 0.8, 0.12, 0.88)
_GAPS_ALONG_MM = (2.8, 4.5, 7.0, 13.0)
_MIDDLE = TextAnchor.CENTRE


@dataclass(frozen=True, slots=True)
class Block:
    """What is to be read about a part.

    Attributes
    ----------
    title
        Number and name.
    lines
        Everything else, one fact a line.
    """

    title: str
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class _SetBlock:
    """A block broken into lines: text and height of each, with its size over all."""

    rows: tuple[tuple[str, float], ...]
    width_mm: float
    height_mm: float

    def words(self, centre: Floats, *, turned: bool = False) -> tuple[Words, ...]:
        """Return the words about a centre, reading up the page when turned."""
        y = 0.5 * self.height_mm
        result = []
        for text, height in self.rows:
            y -= _LINE_PITCH * height
            base = np.array([0.0, y + 0.45 * height])
            if turned:
                base = np.array([-base[1], base[0]])
            angle = np.pi / 2.0 if turned else 0.0
            result.append(Words(text, centre + base, height, angle, TextAnchor.CENTRE))
        return tuple(result)


def _set(block: Block, title_mm: float, widest_mm: float, *, packed: bool) -> tuple[_SetBlock, int]:
    """Return the block no wider than asked and how many of its facts had to be broken.

    Packed, several facts share a line where they fit.
    """
    body_mm = max(SMALLEST_MM, _BODY_OF_TITLE * title_mm)
    title = wrapped(block.title, title_mm, widest_mm)
    rows = [(text, title_mm) for text in title]
    broken = len(title) - 1
    facts = [fact for line in block.lines for fact in line.split(_BETWEEN)]
    lines: list[str] = []
    for fact in facts if packed else block.lines:
        joined = f"{lines[-1]}{_BETWEEN}{fact}" if packed and lines else ""
        if joined and text_width_mm(joined, body_mm) <= widest_mm:
            lines[-1] = joined
        elif text_width_mm(fact, body_mm) <= widest_mm:
            lines.append(fact)
        else:
            for part in fact.split(_BETWEEN):
                pieces = wrapped(part, body_mm, widest_mm)
                broken += len(pieces) - 1
                lines += pieces
    rows += [(text, body_mm) for text in lines]
    width = max(text_width_mm(text, height) for text, height in rows)
    height = sum(_LINE_PITCH * row_mm for _, row_mm in rows)
    return _SetBlock(tuple(rows), width, height), broken


def _whole(block: Block, setting: _SetBlock) -> bool:
    """Whether no word had to be shortened to get into the width."""
    return sum(text.count("…") for text, _ in setting.rows) == sum(
        text.count("…") for text in (block.title, *block.lines)
    )


def _settings(block: Block) -> list[tuple[float, bool, _SetBlock]]:
    """Return ways to set a block, the best to read first: (worth, turned, setting)."""
    found: dict[tuple[tuple[str, float], ...], tuple[float, bool, _SetBlock]] = {}
    for title_mm in _TITLE_HEIGHTS_MM:
        body_mm = max(SMALLEST_MM, _BODY_OF_TITLE * title_mm)
        longest = max(
            text_width_mm(block.title, title_mm),
            *(text_width_mm(line, body_mm) for line in block.lines),
        )
        for share in (*_PACKED_SHARES, 1.0, *_BROKEN_SHARES):
            packed = share > 1.0
            width = share * longest if packed else max(share * longest, _LEAST_COLUMN * body_mm)
            setting, broken = _set(block, title_mm, width, packed=packed)
            if setting.rows not in found and _whole(block, setting):
                # Every fact in one piece, or upright, is worth a smaller letter.
                worth = title_mm * 0.8**broken * (0.9 if packed else 1.0)
                found[setting.rows] = (worth, False, setting)
    upright = list(found.values())
    turned = [(0.6 * worth, True, setting) for worth, _, setting in upright]
    return sorted(upright + turned, key=lambda one: -one[0])


def lay_block(block: Block, space: FreeSpace) -> tuple[Words, ...] | None:
    """Return the block's words inside the free space, as large as they will go, or None.

    It is tried in wide and in narrow settings, and turned a quarter, to be read from the right as
    on technical drawings, where upright it would come out much smaller.
    """
    for _, turned, setting in _settings(block):
        size = (setting.width_mm, setting.height_mm)
        centre = space.roomiest_centre(*(size[::-1] if turned else size))
        if centre is not None:
            return setting.words(centre, turned=turned)
    return None


def lay_block_outside(
    block: Block, outline_mm: Floats
) -> tuple[tuple[Words, ...], tuple[Stroke, ...]]:
    """Return the block beside a part too small for it, with a leader to the part.

    A hollow of the part is used where the block fits into it: that costs no paper.

    Parameters
    ----------
    outline_mm
        (N, 2) float mm: the part's cut line.

    Returns
    -------
    words, strokes
        The strokes are the leader and a bracket as high as the words and a line under them as
        wide, so that the drawing's bounds hold the words too.
    """
    part = shapely.Polygon(outline_mm).buffer(0)
    hollow = FreeSpace(shapely.box(*part.bounds).difference(part), _HOLLOW_MARGIN_MM)
    for title_mm in (7.0, 5.0):
        setting, _ = _set(block, title_mm, 16.0 * title_mm, packed=False)
        size = np.array([setting.width_mm + 6.0, setting.height_mm])
        centre = hollow.roomiest_centre(*size)
        if centre is not None:
            return setting.words(centre), _bracket(centre, size, part)
    low, high = outline_mm.min(axis=0), outline_mm.max(axis=0)
    left = float(high[0]) + 12.0
    middle = max(0.5 * float(low[1] + high[1]), float(low[1]) + 0.5 * size[1])
    centre = np.array([left + 0.5 * size[0], middle])
    return setting.words(centre), _bracket(centre, size, part)


def _bracket(centre: Floats, size: Floats, part: shapely.Polygon) -> tuple[Stroke, ...]:
    """Return a leader from words to a part, and the bracket round them that it starts at."""
    (left, low), (right, high) = centre - 0.5 * size, centre + 0.5 * size
    block = shapely.box(left, low, right, high)
    # The leader stops at the edge, so that it crosses nothing that stands on the part.
    start, tip = shapely.get_coordinates(shapely.shortest_line(block, part.exterior))
    bracket = [[right, low], [left, low], [left, high], [right, high]]
    if start[0] > centre[0]:
        bracket = [[left, low], [right, low], [right, high], [left, high]]
    return (
        Stroke(np.stack([start, tip]), Layer.WORDS),
        Stroke(np.array(bracket), Layer.WORDS),
    )


def label_beside(
    text: str, at: Floats, inward: Floats, reach_mm: float, space: FreeSpace
) -> Words | None:
    """Return a short upright label just inside a tick, or None where there is no room."""
    height = SMALLEST_MM
    half = np.array([0.5 * text_width_mm(text, height), 0.5 * height])
    along = np.array([inward[1], -inward[0]])
    tried = []
    for further in (0.0, 2.0, 4.0, 8.0):
        for aside in (0.0, 1.0, -1.0, 2.0, -2.0):
            # How far the box reaches back towards the edge, whichever way the edge lies.
            depth = float(np.abs(inward) @ half)
            shift = aside * (float(np.abs(along) @ half) + 2.6)
            middle = at + inward * (reach_mm + 2.2 + depth + further) + along * shift
            base = middle - np.array([0.0, 0.5 * height])
            tried.append(Words(text, base, height, 0.0, TextAnchor.CENTRE))
    found = space.first_fit(np.array([words_box_mm(words) for words in tried]))
    return None if found is None else tried[found]


def name_along(
    text: str, points: Floats, space: FreeSpace, *, sides: Sequence[float], height_mm: float = 3.5
) -> Words | None:
    """Return a line's name set along it, never upside down, or None where there is no room.

    Parameters
    ----------
    points
        (N, 2) float mm: the line.
    sides
        1 to set it left of the line's direction, -1 right of it, in the order to be tried.
    """
    arc = _arcs(points)
    height = height_mm
    while height >= SMALLEST_MM - 1e-9:
        width = text_width_mm(text, height)
        places, directions = _places_along(points, arc, width, height, sides)
        # The words' own box about the middle of their capitals, as words_box_mm gives it.
        box = words_box_mm(Words(text, np.array([0.0, -0.5 * height]), height, 0.0, _MIDDLE))
        up = np.column_stack([-directions[:, 1], directions[:, 0]])
        boxes = places[:, None] + box[:, :1] * directions[:, None] + box[:, 1:] * up[:, None]
        found = space.first_fit(boxes)
        if found is not None:
            angle = float(np.arctan2(directions[found, 1], directions[found, 0]))
            base = places[found] - 0.5 * height * up[found]
            return Words(text, base, height, angle, _MIDDLE)
        height -= 0.5
    return None


def _places_along(
    points: Floats, arc: Floats, width: float, height: float, sides: Sequence[float]
) -> tuple[Floats, Floats]:
    """Return where the middle of words may stand along a line, and which way they run there.

    Nearer to the line comes first, then nearer to its middle. Directions never run leftwards; words
    that stand all but upright read upwards, as on technical drawings.
    """
    middles = np.array(_SHARES_ALONG) * arc[-1]
    ends = np.clip(np.stack([middles - 0.5 * width, middles + 0.5 * width]), 0.0, arc[-1])
    start, end = (
        np.column_stack([np.interp(at, arc, points[:, k]) for k in range(2)]) for at in ends
    )
    length = np.linalg.norm(end - start, axis=1)
    kept = length > 0
    start, end, ends, length = start[kept], end[kept], ends[:, kept], length[kept]
    ahead = (end - start) / length[:, None]
    bases = np.zeros((len(start), len(sides), 2))
    normals = np.zeros_like(bases)
    for i, (low, high) in enumerate(ends.T):
        between = points[(arc >= low) & (arc <= high)] - start[i]
        for j, side in enumerate(sides):
            normals[i, j] = side * np.array([-ahead[i, 1], ahead[i, 0]])
            # Clear of the line's own bow over the width of the words.
            bow = float((between @ normals[i, j]).max(initial=0.0))
            bases[i, j] = 0.5 * (start[i] + end[i]) + normals[i, j] * (bow + 0.5 * height)
    gaps = np.array(_GAPS_ALONG_MM)
    places = bases[None] + gaps[:, None, None, None] * normals[None]
    steep = np.abs(ahead[:, 0]) < _STEEP
    backwards = np.where(steep, ahead[:, 1] < 0, ahead[:, 0] < 0)
    ahead = np.where(backwards[:, None], -ahead, ahead)
    directions = np.broadcast_to(ahead[None, :, None], places.shape)
    return places.reshape(-1, 2), directions.reshape(-1, 2)


def _arcs(points: Floats) -> Floats:
    """(N,) float mm: lengths along a line from its start."""
    steps = np.linalg.norm(np.diff(points, axis=0), axis=1)
    arcs: Floats = np.concatenate([[0.0], np.cumsum(steps)])
    return arcs


@dataclass(frozen=True, slots=True, eq=False)
class Tag:
    """A letter in a ring that stands for words said in the block."""

    words: Words
    ring: Stroke


def tag_beside(
    letter: str, points: Floats, space: FreeSpace, *, sides: Sequence[float]
) -> Tag | None:
    """Return a letter in a ring beside a line, or None where there is no room for it either."""
    arc = _arcs(points)
    centres = []
    for share in (0.5, 0.35, 0.65, 0.2, 0.8, 0.1, 0.9):
        at, ahead = (
            np.array([np.interp(s, arc, points[:, k]) for k in range(2)])
            for s in (share * arc[-1], min(share * arc[-1] + 1.0, arc[-1]))
        )
        direction = (ahead - at) / max(float(np.linalg.norm(ahead - at)), 1e-9)
        for gap in (2.0, 4.0, 8.0, 13.0, 18.0):
            for side in sides:
                normal = side * np.array([-direction[1], direction[0]])
                centres.append(at + (gap + _TAG_RADIUS_MM) * normal)
    half = _TAG_RADIUS_MM * np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])
    found = space.first_fit(np.array([centre + half for centre in centres]))
    if found is None:
        return None
    angle = np.linspace(0.0, 2.0 * np.pi, 33)[:-1]
    ring = centres[found] + _TAG_RADIUS_MM * np.column_stack([np.cos(angle), np.sin(angle)])
    base = centres[found] - np.array([0.0, 0.5 * SMALLEST_MM])
    words = Words(letter, base, SMALLEST_MM, 0.0, TextAnchor.CENTRE)
    return Tag(words, Stroke(ring, Layer.WORDS, closed=True))


def box_of(words: Words) -> shapely.Polygon:
    """Return the area that words cover."""
    return shapely.Polygon(words_box_mm(words))
