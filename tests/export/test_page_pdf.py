"""What comes out of the printer has the size, the words and the joins it should have."""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys

import numpy as np
import pypdfium2 as pdfium
import pypdfium2.raw as pdfium_c
import pytest

from fitkit.drawing.drawing import Drawing, Fill, Layer, Stroke, TextAnchor, Words
from fitkit.drawing.page import PageSet
from fitkit.drawing.paper import PAPERS
from fitkit.drawing.tiling import tile_drawings
from fitkit.errors import InputError
from fitkit.export.page_pdf import pdf_of_full_pages, pdf_of_pages
from tests.drawing.example_parts import WEARER, costume, plate
from tests.export.page_reading import (
    POINTS_PER_MM,
    check_square_of,
    darkest_place,
    measured_square_mm,
    raster,
)

# ISO 216 (A sizes) and ANSI/ASME Y14.1 (8.5 x 11 in, 11 x 17 in) at 1/72 inch
PAPER_POINTS = {
    "A4": (595.2756, 841.8898),
    "A3": (841.8898, 1190.5512),
    "Letter": (612.0, 792.0),
    "Tabloid": (792.0, 1224.0),
}


@pytest.fixture(scope="module")
def pages() -> PageSet:
    return tile_drawings(costume(), paper=PAPERS["A4"], title="The Heron Warden")


@pytest.fixture(scope="module")
def pdf(pages: PageSet) -> bytes:
    return pdf_of_pages(pages)


@pytest.mark.parametrize("paper", list(PAPER_POINTS))
def test_check_squares_measure_100_mm_both_ways(paper: str) -> None:
    pages = tile_drawings(costume(), paper=PAPERS[paper], title="The Heron Warden")
    document = pdfium.PdfDocument(pdf_of_pages(pages))
    for index in (0, 1, len(pages.pages) - 1):
        width, height = measured_square_mm(document[index], pages.pages[index])
        assert width == pytest.approx(100.0, abs=0.05)
        assert height == pytest.approx(100.0, abs=0.05)


def test_a_printer_that_prints_short_is_made_up_for(pages: PageSet) -> None:
    """99.2 mm across and 100.6 mm up for 100: drawn so that such a printer makes 100 of both."""
    printed = (99.2, 100.6)
    document = pdfium.PdfDocument(pdf_of_pages(pages, printed_mm=printed))
    page = pages.pages[1]
    middle = 0.5 * np.array([page.paper.width_mm, page.paper.height_mm])
    low, side = check_square_of(page)
    assert side == 100.0

    def drawn(place: np.ndarray) -> np.ndarray:
        return middle + (place - middle) * 100.0 / np.array(printed)

    for axis in (0, 1):
        for corner in (0.0, 100.0):
            spot = low + 33.0
            spot[axis] = low[axis] + corner
            expected = drawn(spot)
            start = np.floor((expected - 2.0) * POINTS_PER_MM) / POINTS_PER_MM
            end = np.ceil((expected + 2.0) * POINTS_PER_MM) / POINTS_PER_MM
            grey = raster(document[1], dpi=1200.0, low_mm=start, high_mm=end).astype(np.float64)
            px_per_mm = 1200.0 / 25.4
            at = (expected - start) * px_per_mm
            line = grey[::-1][int(at[1])] if axis == 0 else grey[::-1][:, int(at[0])]
            found = darkest_place(line, at[axis], 1.0 * px_per_mm)
            assert found / px_per_mm == pytest.approx(at[axis] / px_per_mm, abs=0.03)


@pytest.mark.parametrize("paper", list(PAPER_POINTS))
def test_pages_have_the_size_of_their_paper(paper: str) -> None:
    pages = tile_drawings(costume()[3:], paper=PAPERS[paper], title="The Heron Warden")
    document = pdfium.PdfDocument(pdf_of_pages(pages))
    assert len(document) == len(pages.pages)
    for sheet in document:
        assert sheet.get_size() == pytest.approx(PAPER_POINTS[paper], abs=1e-3)


def test_lines_go_on_from_tile_to_tile() -> None:
    """A slanting line is crossed at the same place of the part on both sides of every join."""
    corners = np.array([[0.0, 0.0], [360.0, 0.0], [360.0, 520.0], [0.0, 520.0]])
    slant = np.array([[0.0, 40.0], [360.0, 110.0]]), np.array([[60.0, 0.0], [110.0, 520.0]])
    part = Drawing(
        "frame",
        strokes=(
            Stroke(corners, Layer.CUT, closed=True),
            *(Stroke(line, Layer.MARK) for line in slant),
        ),
    )
    pages = tile_drawings([part], paper=PAPERS["A4"], title="joins")
    document = pdfium.PdfDocument(pdf_of_pages(pages))
    place = {p.windows[0].tile: (i, p.windows[0]) for i, p in enumerate(pages.pages) if p.windows}
    px_per_mm = 1200.0 / 25.4

    def crossing(tile: str, axis: int, at_part_mm: float, about_part_mm: float) -> float:
        """Where the line crosses ``axis = at`` on the printed tile, along the other axis."""
        index, window = place[tile]
        assert not window.turned
        wanted = np.zeros(2)
        wanted[axis], wanted[1 - axis] = at_part_mm, about_part_mm
        on_page = wanted + window.shift_mm
        low = np.floor((on_page - 4.0) * POINTS_PER_MM) / POINTS_PER_MM
        high = np.ceil((on_page + 4.0) * POINTS_PER_MM) / POINTS_PER_MM
        grey = raster(document[index], dpi=1200.0, low_mm=low, high_mm=high).astype(np.float64)
        grey = grey[::-1]
        at = (on_page - low) * px_per_mm - 0.5
        line = grey[:, round(at[0])] if axis == 0 else grey[round(at[1])]
        found = darkest_place(line, at[1 - axis], 2.0 * px_per_mm)
        page_mm = low[1 - axis] + (found + 0.5) / px_per_mm
        return float(page_mm - window.shift_mm[1 - axis])

    _, right_tile = place["B2"]
    joint = right_tile.clip_mm[0, 0] - right_tile.shift_mm[0] + 5.0
    about = 40.0 + 70.0 * joint / 360.0
    left, right = (crossing(tile, 0, joint, about) for tile in ("B1", "B2"))
    assert left == pytest.approx(right, abs=0.1)
    assert left == pytest.approx(about, abs=0.05)

    _, lower_tile = place["B1"]
    joint = lower_tile.clip_mm[1, 1] - lower_tile.shift_mm[1] - 5.0
    about = 60.0 + 50.0 * joint / 520.0
    upper, lower = (crossing(tile, 1, joint, about) for tile in ("A1", "B1"))
    assert upper == pytest.approx(lower, abs=0.1)
    assert upper == pytest.approx(about, abs=0.05)


def test_words_are_never_mirrored(pdf: bytes) -> None:
    count = 0
    for sheet in pdfium.PdfDocument(pdf):
        for text in sheet.get_objects(filter=[pdfium_c.FPDF_PAGEOBJ_TEXT], max_depth=5):
            a, b, c, d, _, _ = text.get_matrix().get()
            assert a * d - b * c > 0
            count += 1
    assert count > 100


def test_a_turned_part_is_turned_not_mirrored() -> None:
    """The first letter of a turned part's words lies below the last one."""
    part = plate("long plate", 500.0, 180.0)
    pages = tile_drawings([part], paper=PAPERS["A4"], title="turned")
    assert pages.pages[1].windows[0].turned
    document = pdfium.PdfDocument(pdf_of_pages(pages))
    found = []
    for sheet in document:
        reader = sheet.get_textpage()
        text = reader.get_text_range()
        start = text.find(f"for {WEARER}")
        if start >= 0 and sheet.get_objects(filter=[pdfium_c.FPDF_PAGEOBJ_FORM]):
            first = reader.get_charbox(start)
            last = reader.get_charbox(start + len(WEARER))
            found.append((last[1] > first[1] + 20, abs(last[0] - first[0]) < 12))
    assert found
    assert all(up and straight for up, straight in found)


def test_names_in_other_scripts_come_out_whole(pdf: bytes) -> None:
    text = "".join(s.get_textpage().get_text_range() for s in pdfium.PdfDocument(pdf))
    assert WEARER in text
    assert "breastplate, front" in text


def test_the_viewer_is_asked_not_to_scale(pdf: bytes) -> None:
    """PrintScaling None, ISO 32000-1:2008, table 150; PDFium reads it as 'do not scale'."""
    document = pdfium.PdfDocument(pdf)
    assert not pdfium_c.FPDF_VIEWERREF_GetPrintScaling(document.raw)
    assert b"/PrintScaling /None" in pdf


def test_the_font_is_embedded_and_its_name_says_subset(pdf: bytes) -> None:
    assert b"/FontFile2" in pdf
    assert b"+DejaVuSans" in pdf


def test_same_pages_same_bytes_in_every_process(pages: PageSet, pdf: bytes) -> None:
    assert pdf_of_pages(pages) == pdf
    program = (
        "import hashlib\n"
        "from fitkit.drawing.paper import PAPERS\n"
        "from fitkit.drawing.tiling import tile_drawings\n"
        "from fitkit.export.page_pdf import pdf_of_pages\n"
        "from tests.drawing.example_parts import costume\n"
        "pages = tile_drawings(costume(), paper=PAPERS['A4'], title='The Heron Warden')\n"
        "print(hashlib.sha256(pdf_of_pages(pages)).hexdigest())\n"
    )
    said = subprocess.run(
        [sys.executable, "-c", program],
        env={**os.environ, "PYTHONHASHSEED": "7", "PYTHONPATH": os.pathsep.join(sys.path)},
        capture_output=True,
        text=True,
        check=True,
    ).stdout.strip()
    assert said == hashlib.sha256(pdf).hexdigest()


def test_many_tiles_of_a_fine_part_stay_below_a_megabyte() -> None:
    """Each part is stored once, however many windows show it."""
    part = plate("great wing", 1250.0, 2070.0, points=13_800)
    assert sum(len(s.points_mm) for s in part.strokes) > 27_000
    pages = tile_drawings([part], paper=PAPERS["A4"], title="The Heron Warden")
    tiles = sum(bool(p.windows) for p in pages.pages)
    pdf = pdf_of_pages(pages)
    assert tiles >= 48
    assert len(pdf) < 1_000_000


def test_black_areas_show_no_hairline_where_they_touch() -> None:
    left = Fill(np.array([[40.03, 40.0], [60.017, 40.0], [60.017, 60.0], [40.03, 60.0]]))
    right = Fill(np.array([[60.017, 40.0], [60.017, 60.0], [80.0, 60.0], [80.0, 40.0]]))
    drawing = Drawing("areas", fills=(left, right))
    document = pdfium.PdfDocument(pdf_of_full_pages([drawing], [PAPERS["A4"]]))
    grey = raster(
        document[0], dpi=137.0, low_mm=np.array([42.0, 42.0]), high_mm=np.array([78.0, 58.0])
    )
    assert grey[2:-2, 2:-2].max() == 0


def test_full_pages_each_take_their_own_paper() -> None:
    words = Words("right", np.array([100.0, 50.0]), 5.0, anchor=TextAnchor.RIGHT)
    drawing = Drawing("page", words=(words,))
    papers = [PAPERS["A3"], PAPERS["Letter"]]
    document = pdfium.PdfDocument(pdf_of_full_pages([drawing, drawing], papers))
    sizes = [s.get_size() for s in document]
    assert sizes[0] == pytest.approx(PAPER_POINTS["A3"], abs=1e-3)
    assert sizes[1] == pytest.approx(PAPER_POINTS["Letter"], abs=1e-3)
    reader = document[0].get_textpage()
    assert reader.get_text_range() == "right"
    assert reader.get_charbox(4, loose=True)[2] == pytest.approx(100 * POINTS_PER_MM, abs=0.5)
    with pytest.raises(InputError, match="2 drawings and 1 papers"):
        pdf_of_full_pages([drawing, drawing], papers[:1])
