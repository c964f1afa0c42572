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

__all__ = ["SMALLEST_MM", "Block", "label_beside", "lay_block", "lay_block_outside", "name_along"]

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
        for share in (4.0, 2.5, 1.6, 1.0, 0.8, 0.6, 0.45, 0.3):
            setting, broken = _set(block, title_mm, share * longest, packed=share > 1.0)
            if setting.rows not in found and _whole(block, setting):
                # A fact in one piece, or upright, is worth a smaller letter.
                worth = title_mm * (0.8 if broken else 1.0) * (0.9 if share > 1.0 else 1.0)
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
    setting, _ = _set(block, 5.0, 80.0, packed=False)
    left = float(outline_mm[:, 0].max()) + 12.0
    low_y, high_y = float(outline_mm[:, 1].min()), float(outline_mm[:, 1].max())
    middle = max(0.5 * (low_y + high_y), low_y + 0.5 * setting.height_mm)
    centre = np.array([left + 3.0 + 0.5 * setting.width_mm, middle])
    low, high = middle - 0.5 * setting.height_mm, middle + 0.5 * setting.height_mm
    right = left + 6.0 + setting.width_mm
    bracket = np.array([[right, low], [left, low], [left, high], [right, high]])
    # The leader stops at the edge, so that it crosses nothing that stands on the part.
    tip = outline_mm[int(np.argmax(outline_mm[:, 0] - np.abs(outline_mm[:, 1] - middle)))]
    leader = np.array([[left, float(np.clip(tip[1], low, high))], tip])
    strokes = (Stroke(leader, Layer.WORDS), Stroke(bracket, Layer.WORDS))
    return setting.words(centre), strokes


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
    steps = np.linalg.norm(np.diff(points, axis=0), axis=1)
    arc = np.concatenate([[0.0], np.cumsum(steps)])
    height = height_mm
    while height >= SMALLEST_MM - 1e-9:
        half = 0.5 * text_width_mm(text, height)
        tried = []
        for gap in (2.8, 4.5, 7.0):
            for share in (0.5, 0.4, 0.6, 0.3, 0.7, 0.2, 0.8, 0.12, 0.88):
                middle = share * arc[-1]
                ends = max(0.0, middle - half), min(float(arc[-1]), middle + half)
                a, b = (np.array([np.interp(s, arc, points[:, k]) for k in range(2)]) for s in ends)
                if not np.linalg.norm(b - a) > 0:
                    continue
                direction = (b - a) / np.linalg.norm(b - a)
                between = points[(arc >= ends[0]) & (arc <= ends[1])]
                for side in sides:
                    normal = side * np.array([-direction[1], direction[0]])
                    # Clear of the line's own bow over the width of the words.
                    bow = float(((between - a) @ normal).max(initial=0.0))
                    base = 0.5 * (a + b) + normal * (bow + gap + 0.5 * height)
                    tried.append(_set_along(text, base, direction, height))
        if not tried:
            return None
        found = space.first_fit(np.array([words_box_mm(words) for words in tried]))
        if found is not None:
            return tried[found]
        height -= 0.5
    return None


def _set_along(text: str, middle: Floats, direction: Floats, height: float) -> Words:
    # Words that stand all but upright read upwards, as on technical drawings.
    steep = abs(direction[0]) < _STEEP
    if direction[1] < 0 if steep else direction[0] < 0:
        direction = -direction
    up = np.array([-direction[1], direction[0]])
    angle = float(np.arctan2(direction[1], direction[0]))
    return Words(text, middle - 0.5 * height * up, height, angle, TextAnchor.CENTRE)


def box_of(words: Words) -> shapely.Polygon:
    """Return the area that words cover."""
    return shapely.Polygon(words_box_mm(words))
