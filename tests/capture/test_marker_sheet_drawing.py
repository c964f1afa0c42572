"""Printed marker sheets are read by the detector, in the right size and with nothing in its way."""

from __future__ import annotations

import math

import cv2
import numpy as np
import pypdfium2 as pdfium
import pytest
import shapely

from fitkit.capture.marker_sheet import MarkerSheet, marker_sheet
from fitkit.capture.marker_sheet_drawing import PRINTER_MARGIN_MM, marker_sheet_drawing
from fitkit.drawing.drawing import Drawing, Layer, Words
from fitkit.drawing.paper import PAPERS
from fitkit.drawing.text_width import words_box_mm
from fitkit.export.page_pdf import pdf_of_full_pages
from fitkit.geometry.arrays import Bytes, Floats

DPI = 300.0
PX_PER_MM = DPI / 25.4
SHEETS = [("A4", 1), ("A4", 8), ("A3", 1), ("A3", 5), ("Letter", 1), ("Letter", 100)]
MODULE_MM = 150.0 / 8.0


def printed(sheet: MarkerSheet) -> Bytes:
    pdf = pdf_of_full_pages([marker_sheet_drawing(sheet, of_count=8)], [sheet.paper])
    image = pdfium.PdfDocument(pdf)[0].render(scale=DPI / 72.0, grayscale=True)
    return np.ascontiguousarray(image.to_numpy().reshape(image.height, image.width))


def px_per_mm(sheet: MarkerSheet, grey: Bytes) -> Floats:
    """(2,) float: PDFium stretches the page to whole pixels, so ask the picture itself."""
    return np.array(grey.shape[::-1]) / [sheet.paper.width_mm, sheet.paper.height_mm]


def pixel_of(sheet: MarkerSheet, points_mm: Floats, grey: Bytes) -> Floats:
    """Pixel of (N, 2) points of the sheet frame; whole numbers are pixel centres."""
    x = points_mm[:, 0] + sheet.paper.width_mm / 2.0
    y = sheet.paper.height_mm / 2.0 - points_mm[:, 1]
    pixels: Floats = np.stack([x, y], axis=1) * px_per_mm(sheet, grey) - 0.5
    return pixels


def ink(drawing: Drawing) -> list[shapely.Geometry]:
    # only the outer extent matters here, and the tag's outline touches itself on purpose
    shapes = [shapely.MultiPoint(f.points_mm).convex_hull for f in drawing.fills]
    shapes += [shapely.LineString(s.points_mm).buffer(0.13) for s in drawing.strokes]
    return shapes + [words_ink(words) for words in drawing.words]


def words_ink(words: Words) -> shapely.Geometry:
    """Return the box of the words, from the base line up where none of them has a tail."""
    box = shapely.Polygon(words_box_mm(words))
    if not words.text.isdigit():
        return box
    low, high = words.at_mm[1], words.at_mm[1] + 1.05 * words.height_mm
    return shapely.clip_by_rect(box, -1e4, low, 1e4, high)


@pytest.mark.parametrize(("paper", "number"), SHEETS)
def test_the_detector_reads_the_tag_that_was_printed(paper: str, number: int) -> None:
    """OpenCV's detector knows the AprilTag 36h11 family from its own tables."""
    sheet = marker_sheet(paper, number)
    grey = printed(sheet)
    family = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    corners, ids, _ = cv2.aruco.ArucoDetector(family).detectMarkers(grey)
    assert ids is not None
    assert ids.ravel().tolist() == [sheet.tag_id]
    expected = pixel_of(sheet, sheet.tag_corners_mm()[:, :2], grey)
    assert np.abs(corners[0].reshape(4, 2) - expected).max() < 2.0


@pytest.mark.parametrize(("paper", "number"), SHEETS)
def test_the_tag_s_black_square_measures_150_mm(paper: str, number: int) -> None:
    sheet = marker_sheet(paper, number)
    grey = printed(sheet)
    dark = (255.0 - grey) / 255.0
    middle = pixel_of(sheet, np.zeros((1, 2)), grey)[0]
    across, up = px_per_mm(sheet, grey)
    reach = (75.0 + 0.5 * MODULE_MM) * PX_PER_MM
    # the outermost modules are all black: along a line through them darkness adds up to the side
    rim = (75.0 - 0.5 * MODULE_MM) * PX_PER_MM
    left, right = round(middle[0] - reach), round(middle[0] + reach)
    top, low = round(middle[1] - reach), round(middle[1] + reach)
    for sign in (-1.0, 1.0):
        level = dark[round(middle[1] + sign * rim), left:right].sum() / across
        upright = dark[top:low, round(middle[0] + sign * rim)].sum() / up
        assert level == pytest.approx(150.0, abs=0.05)
        assert upright == pytest.approx(150.0, abs=0.05)


@pytest.mark.parametrize(("paper", "number"), SHEETS)
def test_saddles_lie_where_the_sheet_says(paper: str, number: int) -> None:
    sheet = marker_sheet(paper, number)
    grey = printed(sheet)
    expected = pixel_of(sheet, sheet.saddles_mm()[:, :2], grey)
    start = (expected + np.array([3.0, -2.0])).astype(np.float32).reshape(-1, 1, 2)
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 100, 1e-4)
    found = cv2.cornerSubPix(cv2.GaussianBlur(grey, (0, 0), 1.0), start, (20, 20), (-1, -1), stop)
    off_mm = np.linalg.norm(found.reshape(4, 2) - expected, axis=1) / PX_PER_MM
    assert off_mm.max() < 0.05


@pytest.mark.parametrize(("paper", "number"), SHEETS)
def test_upper_left_and_lower_right_quarters_are_black(paper: str, number: int) -> None:
    sheet = marker_sheet(paper, number)
    grey = printed(sheet)
    quarter = sheet.saddle_half_mm / 2.0
    for dx, dy, black in ((-1, 1, True), (1, -1, True), (1, 1, False), (-1, -1, False)):
        at = pixel_of(sheet, sheet.saddles_mm()[:, :2] + np.array([dx, dy]) * quarter, grey)
        for x, y in np.round(at).astype(int):
            assert (grey[y, x] < 30) == black


@pytest.mark.parametrize(("paper", "number"), SHEETS)
def test_check_lines_measure_what_they_say(paper: str, number: int) -> None:
    sheet = marker_sheet(paper, number)
    drawing = marker_sheet_drawing(sheet, of_count=8)
    lengths = sorted(float(np.ptp(s.points_mm, axis=0).max()) for s in drawing.strokes)
    assert lengths[-2:] == pytest.approx(sorted(sheet.check_mm), abs=1e-9)
    assert {s.layer for s in drawing.strokes} == {Layer.MARK}
    said = {w.text for w in drawing.words}
    assert f"check line: {sheet.check_mm[0]:g} mm" in said
    assert f"check: {sheet.check_mm[1]:g} mm" in said


@pytest.mark.parametrize(("paper", "number"), SHEETS)
def test_nothing_is_printed_within_a_module_of_the_tag(paper: str, number: int) -> None:
    sheet = marker_sheet(paper, number)
    middle = np.array([sheet.paper.width_mm, sheet.paper.height_mm]) / 2.0
    tag = shapely.box(*(middle - 75.0), *(middle + 75.0))
    rim = shapely.box(*(middle - 75.0 - MODULE_MM), *(middle + 75.0 + MODULE_MM))
    for shape in ink(marker_sheet_drawing(sheet, of_count=8)):
        assert tag.buffer(1e-6).contains(shape) or not rim.buffer(-1e-6).intersects(shape)


@pytest.mark.parametrize(("paper", "number"), SHEETS)
def test_everything_lies_where_printers_print(paper: str, number: int) -> None:
    sheet = marker_sheet(paper, number)
    w, h = sheet.paper.width_mm, sheet.paper.height_mm
    edge = PRINTER_MARGIN_MM - 0.13
    inside = shapely.box(edge, edge, w - edge, h - edge)
    for shape in ink(marker_sheet_drawing(sheet, of_count=100)):
        assert inside.contains(shape)


@pytest.mark.parametrize(("paper", "number"), SHEETS)
def test_words_and_marks_keep_clear_of_each_other(paper: str, number: int) -> None:
    sheet = marker_sheet(paper, number)
    drawing = marker_sheet_drawing(sheet, of_count=100)
    areas = [shapely.MultiPoint(f.points_mm).convex_hull for f in drawing.fills]
    lines = [shapely.LineString(s.points_mm) for s in drawing.strokes]
    boxes = [words_ink(w) for w in drawing.words]
    for i, box in enumerate(boxes):
        assert all(box.distance(other) > 0.3 for other in [*areas, *lines])
        assert all(not box.buffer(-0.2).intersects(other) for other in boxes[i + 1 :])


def test_only_sheet_one_has_the_arrow_and_it_points_to_the_top_edge() -> None:
    one = marker_sheet_drawing(marker_sheet("A4", 1), of_count=8)
    two = marker_sheet_drawing(marker_sheet("A4", 2), of_count=8)
    arrows = [f.points_mm for f in one.fills if len(f.points_mm) == 7]
    (arrow,) = arrows
    tip = arrow[np.argmax(arrow[:, 1])]
    assert tip[0] == pytest.approx(105.0)
    assert (arrow[:, 1] == tip[1]).sum() == 1
    assert all(len(f.points_mm) != 7 for f in two.fills)
    assert any("faces this way" in w.text for w in one.words)
    assert all("faces this way" not in w.text for w in two.words)


def test_a_sheet_says_what_it_is_and_how_to_print_and_lay_it() -> None:
    drawing = marker_sheet_drawing(marker_sheet("Letter", 3), of_count=8)
    text = " ".join(w.text for w in drawing.words)
    assert "Marker sheet 3 of 8 · Letter · tag 202" in text
    assert "Print at 100 %, no fit to page; then measure both check lines." in text
    assert "none covered" in text


@pytest.mark.parametrize("number", [1, 13, 44, 77])
def test_modules_are_black_or_white_throughout(number: int) -> None:
    """No hairline, at a resolution where every edge falls between pixels."""
    sheet = marker_sheet("A4", number)
    pdf = pdf_of_full_pages([marker_sheet_drawing(sheet, of_count=8)], [sheet.paper])
    image = pdfium.PdfDocument(pdf)[0].render(scale=101.3 / 72.0, grayscale=True)
    grey = image.to_numpy().reshape(image.height, image.width)
    family = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    module_px = MODULE_MM * px_per_mm(sheet, grey)[0]
    for row, line in enumerate(family.generateImageMarker(sheet.tag_id, 8, borderBits=1)):
        for column, value in enumerate(line):
            at = np.array([[-75.0 + column * MODULE_MM, 75.0 - row * MODULE_MM]])
            left, top = np.floor(pixel_of(sheet, at, grey)[0]).astype(int) + 3
            inner = grey[top : top + int(module_px) - 5, left : left + int(module_px) - 5]
            assert (inner == value).all()


def test_black_of_the_tag_is_as_much_as_its_modules() -> None:
    """Area of the printed tag against OpenCV's own picture of it."""
    sheet = marker_sheet("A4", 13)
    drawing = marker_sheet_drawing(sheet, of_count=20)
    middle = np.array([PAPERS["A4"].width_mm, PAPERS["A4"].height_mm]) / 2.0
    area = 0.0
    for fill in drawing.fills:
        if np.abs(fill.points_mm - middle).max() <= 75.0 + 1e-9:
            x, y = (fill.points_mm - middle).T
            area += abs(float(x @ np.roll(y, -1) - y @ np.roll(x, -1))) / 2.0
    family = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    black = (family.generateImageMarker(sheet.tag_id, 8, borderBits=1) < 128).sum()
    assert math.isclose(area, float(black) * MODULE_MM**2, rel_tol=1e-9)
