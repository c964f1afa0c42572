"""How the build book's pages are set: letters, rules of tables, boxes to tick."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from typing import Any
from xml.sax.saxutils import escape

from reportlab.lib.styles import ParagraphStyle
from reportlab.platypus import Paragraph, Table

from fitkit.export.book_marks import BOLD, FONT, MM

__all__ = [
    "BODY",
    "BOLD_BODY",
    "BOX",
    "CENTRED",
    "COVER",
    "HEAD",
    "SMALL",
    "SMALL_PT",
    "TITLE",
    "bare",
    "framed",
    "joined",
    "ruled",
    "table",
    "text",
]

# Letters of 2.5 mm, of the ISO 3098 series, and of 1.8 for what is only looked up.
BODY_PT, SMALL_PT = 9.8, 7.2
BOX = "☐"
_UNIT = re.compile(r"(\d) (?=(?:%|°|mm|cm|m²|g|kg|kN)(?:\W|$))")

BODY = ParagraphStyle("body", fontName=FONT, fontSize=BODY_PT, leading=12.2)
BOLD_BODY = ParagraphStyle("bold", BODY, fontName=BOLD)
SMALL = ParagraphStyle("small", fontName=FONT, fontSize=SMALL_PT, leading=9.0)
TITLE = ParagraphStyle("title", fontName=BOLD, fontSize=17, leading=20, spaceAfter=2)
HEAD = ParagraphStyle("head", fontName=BOLD, fontSize=11, leading=14, spaceBefore=5, spaceAfter=1)
COVER = ParagraphStyle("cover", fontName=BOLD, fontSize=30, leading=36, alignment=1)
CENTRED = ParagraphStyle("centred", BODY, alignment=1)


def text(words: str, style: ParagraphStyle = BODY) -> Any:
    """Return plain words as a paragraph."""
    return Paragraph(escape(joined(words)), style)


def joined(words: str) -> str:
    """Return words in which no line breaks between a number and its unit."""
    return _UNIT.sub("\\1\N{NO-BREAK SPACE}", words)


def ruled(*, header: bool = True) -> list[tuple[Any, ...]]:
    """Return the style of a table with a fine line under each row."""
    rules: list[tuple[Any, ...]] = [
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("LINEBELOW", (0, 0), (-1, -1), 0.25, "black"),
        ("TOPPADDING", (0, 0), (-1, -1), 1),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 2.5),
        ("LEFTPADDING", (0, 0), (-1, -1), 2),
        ("RIGHTPADDING", (0, 0), (-1, -1), 4),
    ]
    if header:
        rules += [("LINEBELOW", (0, 0), (-1, 0), 1.0, "black")]
    return rules


def table(head: Sequence[str], rows: Iterable[Sequence[str]], widths_mm: Sequence[float]) -> Any:
    """Return a table of words whose head is repeated on every page."""
    cells = [[text(word, BOLD_BODY) for word in head]]
    cells += [[text(word) for word in row] for row in rows]
    return Table(cells, colWidths=[w * MM for w in widths_mm], repeatRows=1, style=ruled())


def bare() -> list[tuple[Any, ...]]:
    """Return the style of a table that only puts things side by side."""
    return [
        ("LEFTPADDING", (0, 0), (-1, -1), 0),
        ("RIGHTPADDING", (0, 0), (-1, -1), 0),
        ("TOPPADDING", (0, 0), (-1, -1), 0),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 0),
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
    ]


def framed(words: str, width: float) -> Any:
    """Return words in a heavy frame."""
    return Table(
        [[text(words, BOLD_BODY)]],
        colWidths=[width],
        style=[("BOX", (0, 0), (-1, -1), 1.2, "black")],
    )
