"""The book's pages on what holds, lines and joins the plates: straps, pads, soft pieces."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from reportlab.platypus import KeepTogether, Spacer, Table

from fitkit.drawing.paper import Paper
from fitkit.export.book_marks import MM, GreyPicture, PageDrawing
from fitkit.export.book_style import BOX, HEAD, SMALL, TITLE, bare, table, text
from fitkit.geometry.arrays import Bools, Floats
from fitkit.shop.build_book import BuildBook
from fitkit.template.template import Template

__all__ = ["HOLDING_TITLE", "holding_pages"]

HOLDING_TITLE = "Straps, pads and soft pieces"

_CELL_HIGH_MM, _GAP_MM = 38.0, 5.0
# Strokes reach this far beyond what is cut, at most.
_OUTSIDE_MM = 1.0


def holding_pages(book: BuildBook, width: float, height: float) -> list[Any]:
    """Return how each is set, where the straps run, what is cut for them, and its outlines."""
    flow: list[Any] = [text(HOLDING_TITLE, TITLE)]
    if book.holding is not None:
        rows = [(BOX, one.name, one.what, one.words) for one in book.holding.rows]
        widths = (8, 40, 30, width / MM - 78)
        flow += [table(("", "name", "what", "where and how it is set"), rows, widths), Spacer(1, 4)]
        if book.holding.picture is not None:
            flow += [GreyPicture(book.holding.picture, width, 0.36 * height)]
            flow += [text("Straps as they run over the plates, at rest.", SMALL)]
    if book.pieces:
        templates = [piece.template for piece in book.pieces]
        pieces = [
            (
                str(one.number),
                one.title,
                f"{one.material} {one.thickness_mm:g} mm",
                " × ".join(f"{side:.0f}" for side in piece.size_mm),
            )
            for one, piece in zip(templates, book.pieces, strict=True)
        ]
        columns = (12, width / MM - 92, 45, 35)
        flow += [text("What is cut", HEAD), table(("no.", "piece", "from", "mm"), pieces, columns)]
        flow += [Spacer(1, 6), *_outlines(templates, width)]
    return flow


def _outlines(soft: Sequence[Template], width: float) -> list[Any]:
    """Return the pieces' outlines two in a row, each with its name; templates are true to size."""
    wide = 0.5 * (width - _GAP_MM * MM)
    rows = []
    for first in range(0, len(soft), 2):
        cells = [_outline(one, wide) for one in soft[first : first + 2]]
        cells += [[]] * (2 - len(cells))
        pair = Table([cells], colWidths=[wide + 0.5 * _GAP_MM * MM] * 2, style=bare())
        rows.append(KeepTogether([pair, Spacer(1, _GAP_MM)]))
    return rows


def _outline(piece: Template, width: float) -> list[Any]:
    low, high = piece.outline_mm.min(axis=0), piece.outline_mm.max(axis=0)

    def on_it(points: Floats) -> bool:
        within: Bools = (points >= low - _OUTSIDE_MM) & (points <= high + _OUTSIDE_MM)
        return bool(within.all())

    # Words of 2.5 mm cannot be read at this scale, so neither they nor their frame is drawn.
    strokes = tuple(one for one in piece.drawing.strokes if on_it(one.points_mm))
    lines = replace(piece.drawing, strokes=strokes, words=()).moved(_OUTSIDE_MM - low)
    paper = Paper("piece", *(high - low + 2 * _OUTSIDE_MM).tolist())
    name = text(f"{piece.number}  {piece.title}, not to scale", SMALL)
    return [PageDrawing(lines, paper, width, _CELL_HIGH_MM * MM), name]
