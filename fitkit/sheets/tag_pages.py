"""Pages of tags to stick on parts cut by a machine, which prints none."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from fitkit.drawing.drawing import Drawing, Layer, Stroke, TextAnchor, Words
from fitkit.drawing.paper import Paper
from fitkit.drawing.text_width import shortened, wrapped
from fitkit.geometry.arrays import Floats
from fitkit.template.part_tag import PART_TAG_SIDE_MM, STICKER_MM, part_tag

__all__ = ["tag_pages"]

# Wide enough for printers that leave a border, and for Letter paper where A4 is told.
_MARGIN_MM = 20.0
_TITLE_MM = 4.5
_BODY_MM = 3.0
# A name stands in two rows at most, as large as it can.
_NAMES_MM = (2.2, 1.9, 1.6, 1.4)
_BETWEEN_MM = 4.0
# White beside and above the tag's black square.
_QUIET_MM = 0.5 * (STICKER_MM[0] - PART_TAG_SIDE_MM)

_HOW = (
    "A cutter prints nothing. Of each piece that you will bring back by photo (fitkit trace), cut "
    "the tag with its name out of this page and stick it flat on the outside, clear of edges, "
    "holes and lines: the photo then tells which part the piece is. A print that is a little off "
    "does no harm."
)


def tag_pages(
    parts: Sequence[tuple[int, str]], *, job_name: str, paper: Paper
) -> tuple[Drawing, ...]:
    """Return pages with the tags of parts, each framed to cut out with its number and name.

    Parameters
    ----------
    parts
        ``(number, title)``, as on the templates; those beyond the last tag are left out.
    paper
        Portrait, not on a roll.

    Returns
    -------
    pages
        In millimetres, the paper's lower left at the origin; none without parts.
    """
    tagged = [(number, title) for number, title in parts if part_tag(number)]
    wide = paper.width_mm - 2.0 * _MARGIN_MM
    head = wrapped(_HOW, _BODY_MM, wide)
    step = np.array(STICKER_MM) + _BETWEEN_MM
    top = paper.height_mm - _MARGIN_MM - 2.0 * _TITLE_MM - 1.6 * _BODY_MM * (len(head) + 1)
    columns = int((wide + _BETWEEN_MM) // step[0])
    rows = int((top - _MARGIN_MM + _BETWEEN_MM) // step[1])
    pages = [tagged[i : i + columns * rows] for i in range(0, len(tagged), columns * rows)]
    drawn = []
    for page, here in enumerate(pages, start=1):
        count = f", page {page} of {len(pages)}" * (len(pages) > 1)
        title = f"{job_name} · tags to stick on{count}"
        start = np.array([_MARGIN_MM, paper.height_mm - _MARGIN_MM - _TITLE_MM])
        words = [Words(shortened(title, _TITLE_MM, wide), start, _TITLE_MM)]
        for index, row in enumerate(head):
            below = start - [0.0, 2.0 * _TITLE_MM + 1.6 * _BODY_MM * index]
            words.append(Words(row, below, _BODY_MM))
        stickers = [
            _sticker(
                number, name, np.array([_MARGIN_MM, top]) + step * (n % columns, -(n // columns))
            )
            for n, (number, name) in enumerate(here)
        ]
        drawn.append(
            Drawing(
                title,
                strokes=tuple(one for sticker in stickers for one in sticker.strokes),
                fills=tuple(one for sticker in stickers for one in sticker.fills),
                words=(*words, *(one for sticker in stickers for one in sticker.words)),
            )
        )
    return tuple(drawn)


def _sticker(number: int, title: str, upper_left_mm: Floats) -> Drawing:
    """Return a tag in its frame, the upper left corner there."""
    wide, high = STICKER_MM
    frame = shapely.box(0.0, -high, wide, 0.0)
    tag = Drawing("", fills=tuple(part_tag(number))).moved(
        np.array([0.5 * wide, -_QUIET_MM - 0.5 * PART_TAG_SIDE_MM])
    )
    told = f"{number} {title}"
    size, rows = next(
        ((one, rows) for one in _NAMES_MM if len(rows := wrapped(told, one, wide - 1.0)) <= 2),
        (_NAMES_MM[-1], [shortened(told, _NAMES_MM[-1], wide - 1.0)]),
    )
    first = np.array([0.5 * wide, -2.0 * _QUIET_MM - PART_TAG_SIDE_MM - 0.6 * size])
    return Drawing(
        title,
        strokes=(Stroke(shapely.get_coordinates(frame)[:-1], Layer.CUT, closed=True),),
        fills=tag.fills,
        words=tuple(
            Words(row, first - [0.0, 1.5 * size * n], size, 0.0, TextAnchor.CENTRE)
            for n, row in enumerate(rows)
        ),
    ).moved(upper_left_mm)
