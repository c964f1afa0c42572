"""The build book's pages, section by section, as reportlab flowables."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from reportlab.platypus import KeepTogether, Spacer, Table

from fitkit.export.book_holding import HOLDING_TITLE, holding_pages
from fitkit.export.book_marks import MM, GreyPicture, PlatesPicture, RangeBars, WholePage
from fitkit.export.book_part_page import part_page
from fitkit.export.book_scene import PlatesView
from fitkit.export.book_style import (
    BOLD_BODY,
    BOX,
    CENTRED,
    COVER,
    HEAD,
    SMALL,
    TITLE,
    bare,
    ruled,
    table,
    text,
)
from fitkit.sheets.cut_list import sums_in_words
from fitkit.shop.build_book import BookMeasure, BookMotion, BookSheets, BuildBook
from fitkit.shop.cautions import CAUTIONS, DEFERRING

__all__ = ["ACROSS", "UPRIGHT", "Section", "book_sections", "contents", "cover"]


UPRIGHT, ACROSS = "upright", "across"
"""How a page lies, as its template is called; one across is all drawing."""


@dataclass(frozen=True, slots=True, eq=False)
class Section:
    """A titled run of flowables that begins on a page of its own, ``lying`` upright or across."""

    title: str
    flowables: list[Any]
    lying: str = UPRIGHT


def book_sections(
    book: BuildBook,
    sides: Sequence[PlatesView],
    apart: Sequence[PlatesView],
    in_place: dict[int, PlatesView],
    *,
    width: float,
    height: float,
    across: tuple[float, float],
) -> list[Section]:
    """Return the sections in order.

    Parameters
    ----------
    sides, apart
        Pictures from four sides, and of the plates drawn apart.
    in_place
        Each part's picture by its number.
    width, height
        Of the frame on a page, points.
    across
        Width and height of the whole page laid across, points.
    """
    sections = [
        Section("The plates, from four sides", _sides(sides, width, height)),
        Section("Apart, by layer", _apart(book, apart, width, height)),
        Section("Parts and materials", _parts(book, width)),
        Section("Hardware", _hardware(book, width)),
        *(_sheets(book.sheets, width, across) if book.sheets else []),
        Section("Cautions", _cautions(book)),
    ]
    for part in book.parts:
        number = part.template.number
        page = part_page(part, in_place[number], width, height)
        sections.append(Section(f"{number}  {part.template.title}", page))
    if book.holding is not None or book.pieces:
        sections.append(Section(HOLDING_TITLE, holding_pages(book, width, height)))
    sections += [
        Section("Putting it together", _assembly(book, width)),
        Section("First fitting", _fitting(book, width)),
    ]
    if book.motion is not None and book.motion.ranges:
        sections.append(Section("Moving in it", _motion(book.motion, width, height)))
    if book.measures:
        sections.append(Section("Measures", _measures(book, width)))
    return sections


def cover(book: BuildBook, front: PlatesView, width: float, height: float) -> list[Any]:
    """Return the cover: name, picture, what it is in numbers."""
    materials = sorted({(p.template.material, p.template.thickness_mm) for p in book.parts})
    lines = [
        f"{len(book.parts)} parts in {len(book.layers)} layer{'s' * (len(book.layers) > 1)}, "
        f"{book.mass_kg:.2f} kg without hardware",
        ", ".join(f"{material} {thickness:g} mm" for material, thickness in materials),
    ]
    return [
        Spacer(1, 10 * MM),
        text(book.job, COVER),
        Spacer(1, 3 * MM),
        text("build book" + (f" for {book.wearer}" if book.wearer else ""), CENTRED),
        Spacer(1, 8 * MM),
        PlatesPicture(front, width, 0.58 * height, titled=False),
        Spacer(1, 8 * MM),
        *(text(line, CENTRED) for line in lines),
    ]


def contents(titles: Sequence[str], number: Callable[[str], Any], width: float) -> list[Any]:
    """Return the list of sections; ``number`` makes the flowable that tells one's page."""
    rows = [[text(title), number(title)] for title in titles]
    table = Table(rows, colWidths=[width - 16 * MM, 16 * MM], style=ruled(header=False))
    return [text("Contents", TITLE), table]


def _sides(sides: Sequence[PlatesView], width: float, height: float) -> list[Any]:
    half, low = 0.5 * width, 0.5 * (height - 34)
    cells = [PlatesPicture(view, half - 4, low - 4) for view in sides]
    rows = [cells[i : i + 2] for i in range(0, len(cells), 2)]
    return [
        text("The plates, from four sides", TITLE),
        Table(rows, colWidths=[half, half], rowHeights=[low] * len(rows), style=bare()),
    ]


def _apart(book: BuildBook, apart: Sequence[PlatesView], width: float, height: float) -> list[Any]:
    each = 0.38 * height
    rows = [
        (f"layer {layer}" + (", next to the wearer" if layer == 1 else ""),
         ", ".join(plate.called for plate in plates))
        for layer, plates in book.layers.items()
    ]  # fmt: skip
    return [
        text("Apart, by layer", TITLE),
        *(PlatesPicture(view, width, each) for view in apart),
        table(("layer", "plates"), rows, (48, width / MM - 48)),
    ]


def _parts(book: BuildBook, width: float) -> list[Any]:
    amounts = [
        (part.template, "", part.view.size_mm, part.area_mm2, part.mass_kg) for part in book.parts
    ] + [
        (piece.template, " *", piece.size_mm, piece.area_mm2, piece.mass_kg)
        for piece in book.pieces
    ]
    rows = []
    totals: dict[tuple[str, float], list[float]] = {}
    for template, star, size_mm, area_mm2, mass_kg in amounts:
        sheet = template.material, template.thickness_mm
        size = f"{size_mm[0]:.0f} × {size_mm[1]:.0f}"
        amount = f"{area_mm2 / 100:.0f}", f"{1000 * mass_kg:.0f}"
        number, sheet_words = f"{template.number}{star}", f"{sheet[0]} {sheet[1]:g} mm"
        rows.append((number, template.title, sheet_words, size, *amount))
        sums = totals.setdefault(sheet, [0, 0, 0])
        sums[0] += 1
        sums[1] += area_mm2 / 1e6
        sums[2] += mass_kg
    sheets = [
        (f"{material} {thickness:g} mm", f"{count:.0f}", f"{area:.3f}", f"{1000 * mass:.0f}")
        for (material, thickness), (count, area, mass) in sorted(totals.items())
    ]
    rest = width / MM - 12 - 50 - 30 - 20 - 18
    words = "Mass of the blanks with their holes out: forming keeps it."
    if book.pieces:
        words = f"* Under '{HOLDING_TITLE}'; no page of its own. {words}"
    return [
        text("Parts and materials", TITLE),
        table(("no.", "part", "sheet", "blank mm", "cm²", "g"), rows, (12, rest, 50, 30, 20, 18)),
        text("Sheet needed, cutting loss left out", HEAD),
        table(("sheet", "parts", "m²", "g"), sheets, (width / MM - 66, 18, 24, 24)),
        Spacer(1, 4),
        text(words, SMALL),
    ]


def _hardware(book: BuildBook, width: float) -> list[Any]:
    if not book.hardware:
        return [
            text("Hardware", TITLE),
            text("None is told: no edge has rivets or wire, and the job has no [[hardware]]."),
        ]
    rows = [
        (
            BOX,
            item.item,
            item.size,
            f"{item.needed} + {item.spare}" if item.spare else str(item.needed),
            str(item.to_buy) if item.length_mm is None else f"{item.length_mm / 1000:.2f} m",
            "; ".join(word for word in (item.where, item.note) if word),
        )
        for item in book.hardware
    ]
    rest = width / MM - 8 - 40 - 32 - 22 - 18
    return [
        text("Hardware", TITLE),
        table(
            ("", "item", "size", "need + spare", "buy", "where and what to mind"),
            rows,
            (8, 40, 32, 22, 18, rest),
        ),
        Spacer(1, 4),
        text("Spares: one in ten, three at least (common practice, no source).", SMALL),
    ]


def _sheets(sheets: BookSheets, width: float, across: tuple[float, float]) -> list[Section]:
    """Return how much sheet it takes, what is cut from which, and each sheet to mark out by."""
    layouts = [
        Section(f"Sheet {index}: {row.sheet.title}", [WholePage(page, *across)], ACROSS)
        for index, (row, page) in enumerate(zip(sheets.sheets, sheets.pages, strict=True), 1)
    ]
    return [Section("Sheets", _sheet_tables(sheets, width)), *layouts]


def _sheet_tables(sheets: BookSheets, width: float) -> list[Any]:

    def money(value: float | None) -> str:
        return "" if value is None else f"{value:.2f}"

    used = [
        (
            row.sheet.title,
            f"{len(row.sheet.placed)}",
            f"{100 * row.sheet.utilisation:.0f} %",
            f"{row.offcuts_mm2 / 1e6:.2f}",
            money(row.cost),
        )
        for row in sheets.sheets
    ]
    cuts = [
        (
            str(row.part.number),
            row.part.title,
            row.sheet or "no room",
            f"{row.part.cut_length_mm / 1000:.2f}",
            str(len(row.part.drilled_mm)),
            f"{row.mass_g:.0f}",
            money(row.cost),
        )
        for row in sheets.cuts
    ]
    # A column for money only where the maker told prices.
    costs = [row.cost for row in sheets.sheets] + [row.cost for row in sheets.cuts]
    priced = any(cost is not None for cost in costs)
    cost = [f"cost {sheets.currency}".strip()] if priced else []
    money_mm = [28.0] if priced else []
    columns = None if priced else -1
    whole = width / MM - sum(money_mm)
    names = whole - 62.0
    return [
        text("Sheets", TITLE),
        table(
            ("sheet", "parts", "used", "kept m²", *cost),
            [row[:columns] for row in used],
            (names, 18, 20, 24, *money_mm),
        ),
        Spacer(1, 4),
        text(sums_in_words(sheets.cuts, sheets.sheets, sheets.currency)),
        text("Cut list", HEAD),
        table(
            ("no.", "part", "sheet", "cut m", "holes", "g", *cost),
            [row[:columns] for row in cuts],
            (12, 0.4 * names, 0.6 * names, 18, 17, 15, *money_mm),
        ),
    ]


def _motion(motion: BookMotion, width: float, height: float) -> list[Any]:
    """Return the ranges as bars, what stops them, and pictures of where."""
    flow = [
        text("Moving in it", TITLE),
        text(
            "Black: free from rest. White: where a plate stops it before what is wanted. Tick: how "
            "far it goes once trimmed. Try it on slowly, with a helper at hand."
        ),
        Spacer(1, 4),
        RangeBars(motion.ranges, width),
        *(text(f"• {one}") for one in motion.remarks),
    ]
    for title, content in motion.pictures:
        picture = GreyPicture(content, width, 0.3 * height)
        flow.append(KeepTogether([text(title, HEAD), picture]))
    return flow


def _cautions(book: BuildBook) -> list[Any]:
    flow: list[Any] = [text("Cautions", TITLE), text(DEFERRING, BOLD_BODY), Spacer(1, 6)]
    for key in book.cautions:
        caution = CAUTIONS[key]
        flow.append(
            KeepTogether(
                [
                    text(caution.title, HEAD),
                    text(caution.words),
                    text(f"Source: {caution.source}. Confidence: {caution.confidence}.", SMALL),
                ]
            )
        )
    return flow


def _assembly(book: BuildBook, width: float) -> list[Any]:
    rows = []
    for number, step in enumerate(book.assembly, 1):
        cell = [text(step.title, BOLD_BODY), *(text(line) for line in step.lines)]
        rows.append([text(BOX), text(str(number), BOLD_BODY), cell, text(str(step.layer))])
    head = [text(word, BOLD_BODY) for word in ("", "", "what", "layer")]
    return [
        text("Putting it together", TITLE),
        text(
            "From the wearer outwards. Each row is riveted before what would cover it goes on. Try "
            "each step with clamps or screws first."
        ),
        Spacer(1, 4),
        Table(
            [head, *rows],
            colWidths=[7 * MM, 10 * MM, width - 33 * MM, 16 * MM],
            repeatRows=1,
            style=ruled(),
        ),
    ]


def _fitting(book: BuildBook, width: float) -> list[Any]:
    rows = [(BOX, check.where, check.attempt) for check in book.fitting]
    return [
        text("First fitting", TITLE),
        text("Stop at once when anything pinches, digs in or goes numb (common practice)."),
        Spacer(1, 4),
        table(("", "where (parts)", "try"), rows, (8, 42, width / MM - 50)),
        Spacer(1, 10),
        text("What to change", HEAD),
        *(Table([[""]], colWidths=[width], rowHeights=[22], style=ruled(header=False))
          for _ in range(5)),
    ]  # fmt: skip


def _measures(book: BuildBook, width: float) -> list[Any]:
    def told(value: float | None) -> str:
        return "" if value is None else f"{value:.0f}"

    def agrees(one: BookMeasure) -> str:
        if one.body_mm is None or one.tape_mm is None or not one.verdict:
            return ""
        words, off = "yes" if one.verdict == "within" else "NO", round(one.body_mm - one.tape_mm)
        return f"{words}, {off:+d} mm" if off else words

    rows = [(one.name, told(one.body_mm), told(one.tape_mm), agrees(one)) for one in book.measures]
    return [
        text(f"Measures{f' of {book.wearer}' if book.wearer else ''}", TITLE),
        text("Private: take this page out before the book leaves the house."),
        Spacer(1, 4),
        table(("measure", "body mm", "tape mm", "agrees"), rows, (width / MM - 84, 26, 26, 32)),
    ]
