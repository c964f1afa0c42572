"""The build book read back: its pages, its scale, its greys."""

from __future__ import annotations

import re
from collections.abc import Sequence
from io import BytesIO

import numpy as np
import pypdfium2 as pdfium
import pytest
from PIL import Image
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas

from fitkit.drawing.paper import paper_named
from fitkit.drawing.text_width import font_file
from fitkit.export.book_marks import BOLD, FONT, MM, BlankDrawing, GaugeDrawing, RangeBars
from fitkit.export.book_scene import view_towards
from fitkit.export.book_style import joined
from fitkit.export.build_book_pdf import pdf_of_book
from fitkit.sheets.cut_list import cut_list, sheet_list
from fitkit.sheets.layout_drawing import layout_page
from fitkit.sheets.nesting import LaidSheet, Nesting, NestRules, PlacedPart
from fitkit.sheets.part_to_place import parts_to_place
from fitkit.sheets.stock_sheet import StockSheet
from fitkit.shop.blank_view import blank_view
from fitkit.shop.build_book import (
    BookHolding,
    BookMeasure,
    BookMotion,
    BookRange,
    BookSheets,
    HoldingRow,
    build_book,
)
from fitkit.shop.gauge_section import GaugeSection
from fitkit.shop.hardware_list import OwnHardware
from fitkit.template.make_templates import make_templates
from fitkit.template.template import Template
from tests.shop.worn_barrel import barrel, belt, put_together
from tests.template.parts import rectangle
from tests.truth import solids


def sheets_of(templates: Sequence[Template]) -> BookSheets:
    """Return the first part on a sheet of 600 by 400 mm that costs 12."""
    (part,) = parts_to_place(templates[:1])
    corners = np.array([[0.0, 0.0], [600.0, 0.0], [600.0, 400.0], [0.0, 400.0]])
    stock = StockSheet("offcut", part.material, part.thickness_mm, corners, price=12.0)
    nesting = Nesting(
        NestRules(), (LaidSheet(stock, 1, (PlacedPart(part, np.array([20.0, 20.0])),)),)
    )
    page = layout_page(nesting.sheets[0], nesting.rules, (), job_name="Heron Warden", place=(1, 1))
    return BookSheets((page,), cut_list(nesting, ()), sheet_list(nesting, ()), "EUR")


def motion() -> BookMotion:
    """Return two ranges, one of them stopped, with a picture in colour."""
    buffer = BytesIO()
    Image.new("RGB", (60, 40), (200, 30, 20)).save(buffer, "png")
    ranges = (
        BookRange("left elbow bends", 10.0, 120.0, 84.0, 120.0),
        BookRange("left shoulder lifts", 0.0, 90.0, 90.0, 90.0),
    )
    return BookMotion(
        ranges, ("The sleeve stops the elbow.",), (("left elbow", buffer.getvalue()),)
    )


@pytest.fixture(scope="module")
def pages() -> list[tuple[str, np.ndarray]]:
    """Text and pixels of each page of the barrel's book."""
    flats = [*barrel(), belt()]
    plates, _, rows = put_together(flats)
    numbers = {plate.design: plate.number for plate in plates if not plate.twin}
    templates = [
        template
        for flat in flats
        for template in make_templates(
            flat,
            number=numbers[flat.design.name],
            job_name="Heron Warden",
            wearer="Ada",
            rivets=[row for row in rows if row.patch == flat.design.name],
        )
    ]
    told: list[float] = []
    # A piece that no plate is made of, as a pad's or a strap's.
    (lining,) = make_templates(
        rectangle(90.0, 40.0, name="lining", material="foam", thickness_mm=6.0),
        number=6,
        job_name="Heron Warden",
        wearer="Ada",
    )
    rows_told = (HoldingRow("lining", "pad", "Glued inside 'belt'."),)
    book = build_book(
        flats,
        [*templates, lining],
        rows,
        job="Heron Warden",
        wearer="Ada",
        numbers=numbers,
        axes={},
        own=(OwnHardware("strap", 2, "belt"),),
        measures=(
            BookMeasure("chest", 901.0, 905.0, "within"),
            BookMeasure("neck", 350.0, 357.0, "over"),
        ),
        sheets=sheets_of(templates),
        motion=motion(),
        holding=BookHolding(rows_told, motion().pictures[0][1]),
        progress=lambda fraction, _: told.append(fraction),
    )
    body = solids.cylinder(110.0, 300.0, 12.0)
    content = pdf_of_book(
        book, body, paper=paper_named("A4"), progress=lambda fraction, _: told.append(fraction)
    )
    assert len(told) > 8
    document = pdfium.PdfDocument(content)
    found = [
        (" ".join(page.get_textpage().get_text_range().split()), page.render(scale=1.0).to_numpy())
        for page in document
    ]
    document.close()
    return found


def test_every_page_is_there_and_numbered(pages: list[tuple[str, np.ndarray]]) -> None:
    texts = [text for text, _ in pages]
    starts = ["Heron Warden", "Contents", "The plates", "Apart", "Parts", "Hardware", "Sheets"]
    starts += ["Cautions"]
    starts += ["1 upper, left", "2 upper, right", "3 lower, left", "4 lower, right", "5 belt"]
    starts += [
        "Straps, pads and soft pieces",
        "Putting it together",
        "First fitting",
        "Moving in it",
        "Measures of Ada",
    ]
    places = [next(i for i, text in enumerate(texts) if text.startswith(s)) for s in starts]
    assert places == sorted(places)
    assert "The plates, from four sides 3" in texts[1]
    laid = next(i for i, text in enumerate(texts, 1) if "sheet 1 of 1: offcut" in text)
    assert f"Sheet 1: offcut {laid}" in texts[1]
    for number, text in enumerate(texts[1:], 2):
        assert f"page {number} of {len(texts)}" in text


def test_a_number_stays_with_its_unit() -> None:
    """Only a blank between the two is closed up, not one before a word that begins alike."""
    kept = joined("up to 3 %; 4.5 mm off 2 more, 20 g")
    assert kept.replace(chr(160), "_") == "up to 3_%; 4.5_mm off 2 more, 20_g"


def test_parts_tell_how_they_are_made(pages: list[tuple[str, np.ndarray]]) -> None:
    upper = next(text for text, _ in pages if text.startswith("1 upper, left"))
    for word in ("Mark and cut", "Drill in", "most stretch", "Mind: Cut edges", "Sources."):
        assert word in upper
    together = next(text for text, _ in pages if text.startswith("Putting it together"))
    assert "before 5 belt goes on" in together
    assert "held by 2 × strap" in together


def test_what_holds_and_lines_the_plates_is_told_listed_and_drawn(
    pages: list[tuple[str, np.ndarray]],
) -> None:
    words = next(text for text, _ in pages if text.startswith("Straps, pads"))
    assert "lining pad Glued inside 'belt'." in words
    assert "6 lining foam 6 mm 90 × 40" in words
    assert "6 lining, not to scale" in words
    # It has no page of its own.
    assert "6 lining" not in pages[1][0]


def test_sheets_and_motion_come_in_where_they_have_been_made(
    pages: list[tuple[str, np.ndarray]],
) -> None:
    texts = [text for text, _ in pages]
    at = next(i for i, text in enumerate(texts) if text.startswith("Sheets"))
    assert "cost EUR" in texts[at]
    assert "In all 1 part" in texts[at]
    assert "What the parts take costs 12.00 EUR." in texts[at]
    assert "upper, left" in texts[at]
    assert "sheet 1 of 1: offcut" in texts[at + 1]
    moving = next(text for text in texts if text.startswith("Moving in it"))
    assert "84° of 120°" in moving
    measures = next(text for text in texts if text.startswith("Measures"))
    assert "chest 901 905 yes, -4 mm neck 350 357 NO, -7 mm" in measures
    assert "The sleeve stops the elbow." in moving


def test_a_sheet_lies_across_its_page_at_the_scale_it_tells(
    pages: list[tuple[str, np.ndarray]],
) -> None:
    """The edge of 600 mm is as long on the page as its scale tells; pixels are points."""
    sizes = [pixels.shape[1::-1] for _, pixels in pages]
    across = [index for index, (wide, tall) in enumerate(sizes) if wide > tall]
    (at,) = across
    text, pixels = pages[at]
    assert "sheet 1 of 1: offcut" in text
    (told,) = re.findall(r"drawn 1 : (\S+)", text)
    dark = pixels[..., 0] < 230
    rows = ["".join("x" if one else " " for one in row).split() for row in dark[200:-60]]
    longest = max(len(run) for row in rows for run in row)
    # The ruler's tick of 2 mm goes on from the edge.
    assert longest == pytest.approx(600.0 / float(told) * MM + 2.0 * MM, abs=3.0)


def test_bars_are_as_long_as_what_is_free() -> None:
    """74 of 110 degrees: the black part of the longest bar is that share of it."""
    box = RangeBars(motion().ranges[:1], 400.0)
    pixels = drawn(box)
    row = pixels[int(4 * (box.height - 16.0 + 4.5))]
    free = np.flatnonzero(row[576:] < 60)
    whole = 400.0 * (0.84 - 0.36) * 4.0
    black = free[: int(np.argmax(np.diff(free) > 1)) + 1]
    assert len(black) / whole == pytest.approx(74.0 / 110.0, abs=0.01)


def test_the_book_is_grey(pages: list[tuple[str, np.ndarray]]) -> None:
    for _, pixels in pages:
        spread = pixels[..., :3].astype(int).max(axis=2) - pixels[..., :3].astype(int).min(axis=2)
        assert spread.max() <= 2


def drawn(box: BlankDrawing | GaugeDrawing | RangeBars, scale: float = 4.0) -> np.ndarray:
    """Return the pixels of a box alone, ``scale`` to the point, y up."""
    for name, bold in ((FONT, False), (BOLD, True)):
        pdfmetrics.registerFont(TTFont(name, font_file(bold=bold)))
    buffer = BytesIO()
    canvas = Canvas(buffer, pagesize=(box.width, box.height))
    box.drawOn(canvas, 0, 0)
    canvas.save()
    document = pdfium.PdfDocument(buffer.getvalue())
    pixels = document[0].render(scale=scale, grayscale=True).to_numpy()
    document.close()
    image: np.ndarray = np.asarray(pixels)[::-1].reshape(pixels.shape[0], -1)
    return image


def test_a_blank_is_drawn_to_the_scale_it_tells() -> None:
    """200 by 120 mm: the outline's longest upright and level strokes on the paper."""
    flat = rectangle()
    (template,) = make_templates(flat, number=1, job_name="", wearer="")
    box = BlankDrawing(blank_view(template), 300.0, 200.0)
    dark = drawn(box) < 100
    level = np.flatnonzero(dark[:, 600] & (np.arange(len(dark)) > 80))
    tall_mm = (level.max() - level.min()) / 4.0 / MM * box.scale
    across = np.flatnonzero(dark[int(level.mean())])
    wide_mm = (across.max() - across.min()) / 4.0 / MM * box.scale
    # The outline's own 0.5 mm on the paper counts too.
    assert tall_mm - 0.5 * box.scale == pytest.approx(120.0, abs=0.4 * box.scale)
    assert wide_mm - 0.5 * box.scale == pytest.approx(200.0, abs=0.4 * box.scale)


def test_gauges_fit_their_box_at_one_scale() -> None:
    arc = np.linspace(0.0, np.pi, 60)
    bow = np.column_stack([100.0 * (1 - np.cos(arc)), 60.0 * np.sin(arc)])
    box = GaugeDrawing((GaugeSection("across", bow, 60.0),) * 2, 160.0, 220.0)
    dark = drawn(box) < 128
    # Below the lower one's words.
    across = np.flatnonzero(dark[: 4 * 90].any(axis=0))
    wide_mm = (across.max() - across.min()) / 4.0 / MM * box.scale
    assert wide_mm == pytest.approx(200.0 + 0.6 * box.scale, abs=0.5 * box.scale)


def test_a_plate_is_shown_from_the_side_it_faces() -> None:
    plates, _, _ = put_together([*barrel(), belt()])
    assert view_towards(plates[4]) == "front"
    assert view_towards(plates[0]) == "front left"
    assert view_towards(plates[1]) == "front right"
