"""Pieces photographed on a table, rendered through a real lens, against their true outlines."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cache

import cv2
import numpy as np
import pytest
import shapely

from fitkit.drawing.paper import PAPERS
from fitkit.errors import PhotoError
from fitkit.geometry.arrays import Floats
from fitkit.sheets.tag_pages import tag_pages
from fitkit.trace.trace_pieces import TablePhoto, Trace, table_photo, trace_pieces
from tests.trace.scenes import PALE_CARD, PALE_TABLE, PIECE, SHEETS, off_outline_mm, shot
from tests.truth.flat_table import CardPiece

PRINTED = (180.0, 200.0)


@pytest.mark.parametrize(
    ("taken", "thickness_mm", "most_mm"),
    [
        (lambda: shot(0.0), 0.5, 0.3),
        (lambda: shot(35.0, -60.0, thickness_mm=1.5), 1.5, 0.3),
        (lambda: shot(20.0, -120.0, floor=PALE_TABLE, card=PALE_CARD), 0.5, 0.5),
    ],
    ids=["from above", "at a slant", "pale on pale"],
)
def test_outline_from_one_photo(
    taken: Callable[[], TablePhoto], thickness_mm: float, most_mm: float
) -> None:
    """p95 within 0.5 mm, asked; 0.3 mm on an A4-sized piece where card and table differ."""
    trace = trace_pieces([taken()], thickness_mm=thickness_mm, printed_mm=PRINTED)
    piece = trace.pieces[0]
    off = np.abs(off_outline_mm(piece.outline_mm, PIECE.outline_mm))
    assert np.percentile(off, 95) < most_mm
    # Nothing counts as measured that was left out: the outline goes all the way round.
    length = shapely.LinearRing(PIECE.outline_mm).length
    assert shapely.LinearRing(piece.outline_mm).length == pytest.approx(length, rel=0.01)


@cache
def traced_from_above() -> Trace:
    return trace_pieces([shot(0.0)], thickness_mm=0.5, printed_mm=PRINTED)


def test_holes_and_pencil_lines_are_kept() -> None:
    piece = traced_from_above().pieces[0]
    sizes = sorted(hole.diameter_mm for hole in piece.round_holes)
    assert sizes == pytest.approx([5.0, 16.0], abs=0.3)
    places = np.array([hole.centre_mm for hole in piece.round_holes])
    assert np.linalg.norm(places[0] - places[1]) == pytest.approx(np.hypot(70, 20), abs=0.2)
    (line,) = piece.pencil_mm
    assert np.linalg.norm(line[-1] - line[0]) == pytest.approx(np.hypot(110, 10), abs=2.0)


def test_ignoring_the_thickness_makes_the_piece_larger_by_the_ratio_of_distances() -> None:
    """1.5 mm of card under a camera 0.532 m up: 0.28 %, and a note says so."""
    photo = shot(35.0, -60.0, thickness_mm=1.5)
    true = trace_pieces([photo], thickness_mm=1.5, printed_mm=PRINTED)
    flat = trace_pieces([photo], printed_mm=PRINTED)
    areas = [shapely.Polygon(t.pieces[0].outline_mm).area for t in (true, flat)]
    height = 650.0 * np.cos(np.radians(35.0))
    assert areas[1] / areas[0] == pytest.approx((1 - 1.5 / height) ** -2, abs=5e-4)
    assert "thickness-not-given" in {finding.code for finding in flat.findings}


def test_several_photos_are_surer_than_one() -> None:
    photos = [shot(25.0, 30.0), shot(0.0)]
    one = trace_pieces(photos[:1], thickness_mm=0.5, printed_mm=PRINTED).pieces[0]
    all_ = trace_pieces(photos, thickness_mm=0.5, printed_mm=PRINTED).pieces[0]
    assert len(all_.photos) == 2
    rms = [
        np.sqrt(np.mean(off_outline_mm(piece.outline_mm, PIECE.outline_mm) ** 2))
        for piece in (one, all_)
    ]
    assert rms[1] <= rms[0] * 1.05
    assert all_.sigma_mm <= one.sigma_mm


def test_card_as_bright_as_its_table_is_told_by_colour() -> None:
    """Equal in grey to a few levels; the colours of a file are coarser than its light."""
    seen = shot(10.0, card=(0.32, 0.19, 0.11))
    grey_alone = TablePhoto(seen.photo, seen.photo.grey)
    with pytest.raises(PhotoError, match="No piece"):
        trace_pieces([grey_alone], thickness_mm=0.5, printed_mm=PRINTED)
    coarse = cv2.resize(seen.colour, (1008, 756), interpolation=cv2.INTER_AREA)
    photo = table_photo(replace(seen.photo, colour=np.asarray(coarse, dtype=np.uint8)))
    piece = trace_pieces([photo], thickness_mm=0.5, printed_mm=PRINTED).pieces[0]
    off = np.abs(off_outline_mm(piece.outline_mm, PIECE.outline_mm))
    assert np.percentile(off, 95) < 0.5


def test_a_page_of_a4_paper_has_the_size_of_iso_216() -> None:
    """ISO 216: 210 x 297 mm; asked within 0.3 %."""
    half = np.array([[-105.0, -148.5], [105.0, -148.5], [105.0, 148.5], [-105.0, 148.5]])
    page = CardPiece(half * 1.0, thickness_mm=0.1, colour=(0.75, 0.75, 0.74))
    photo = shot(15.0, -80.0, pieces=(page,))
    piece = trace_pieces([photo], thickness_mm=0.1, printed_mm=PRINTED).pieces[0]
    box = shapely.minimum_rotated_rectangle(shapely.Polygon(piece.outline_mm))
    sides = np.linalg.norm(np.diff(shapely.get_coordinates(box)[:3], axis=0), axis=1)
    area = shapely.Polygon(piece.outline_mm).area
    assert sorted(sides) == pytest.approx([210.0, 297.0], rel=0.003)
    assert area == pytest.approx(210.0 * 297.0, rel=0.003)


def test_a_photo_without_a_sheet_is_refused_with_what_to_do() -> None:
    photo = shot(0.0)
    grey = np.full_like(photo.photo.grey, 120)
    blank = TablePhoto(replace(photo.photo, grey=grey), np.full_like(photo.colour, 120))
    with pytest.raises(PhotoError) as caught:
        trace_pieces([blank], printed_mm=PRINTED)
    assert "marker sheet" in caught.value.remedy


def test_a_bare_table_is_refused() -> None:
    crumb = CardPiece(np.array([[0.0, 0.0], [6.0, 0.0], [6.0, 6.0], [0.0, 6.0]]))
    with pytest.raises(PhotoError, match="No piece"):
        trace_pieces([shot(10.0, pieces=(crumb,))], printed_mm=PRINTED)


def test_sheets_stand_where_they_were_laid() -> None:
    shifts = [pose.translation_mm for _, pose in traced_from_above().views[0].sheets]
    true = SHEETS[0].world_from_sheet.inverse().apply(SHEETS[1].world_from_sheet.translation_mm)
    assert np.linalg.norm(shifts[1] - shifts[0]) == pytest.approx(np.linalg.norm(true), abs=0.15)


@pytest.mark.parametrize(
    ("floor", "card"),
    [((0.20, 0.22, 0.25), (0.42, 0.40, 0.37)), ((0.66, 0.66, 0.65), (0.30, 0.30, 0.29))],
    ids=["dark table", "table nearly as white as the paper"],
)
def test_a_tag_stuck_on_tells_the_part_and_is_neither_hole_nor_pencil_line(
    floor: tuple[float, float, float], card: tuple[float, float, float]
) -> None:
    """As cut out of the page of tags, askew; the holes and the line beside it are kept."""
    (page,) = tag_pages([(7, "sleeve, left")], job_name="Heron", paper=PAPERS["A4"])
    corner = page.strokes[0].points_mm.mean(axis=0)
    turn = np.array([[np.cos(0.4), -np.sin(0.4)], [np.sin(0.4), np.cos(0.4)]])

    def stuck(points: Floats) -> Floats:
        return (points - corner) @ turn.T + [0.0, -55.0]

    frame = stuck(page.strokes[0].points_mm)
    laid = replace(
        PIECE,
        colour=card,
        pencil_mm=(*PIECE.pencil_mm, np.concatenate([frame, frame[:1]])),
        paper_mm=(frame,),
        ink_mm=tuple(stuck(fill.points_mm) for fill in page.fills),
    )
    photo = shot(12.0, floor=floor, pieces=(laid,))
    (piece,) = trace_pieces([photo], thickness_mm=0.5, printed_mm=PRINTED).pieces
    assert piece.part_number == 7
    # Against a bright table, where light spreads into them, holes come out smaller.
    assert sorted(hole.diameter_mm for hole in piece.round_holes) == pytest.approx(
        [5.0, 16.0], abs=1.0
    )
    assert piece.openings_mm == ()
    assert len(piece.pencil_mm) == 1
