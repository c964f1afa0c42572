"""Pages are true to scale, say what they are, and join where they should."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
import shapely

from fitkit.drawing.drawing import Drawing, Hole, Layer, Stroke, Words
from fitkit.drawing.line_style import centre_cross_arm_mm
from fitkit.drawing.page import Page, PageSet
from fitkit.drawing.page_furniture import CHECK_SIDE_MM, CHECK_SIDES_MM
from fitkit.drawing.paper import PAPERS
from fitkit.drawing.text_width import words_box_mm
from fitkit.drawing.tiling import tile_drawings
from fitkit.errors import DesignError, InputError
from fitkit.geometry.arrays import Floats
from tests.drawing.example_parts import costume, plate


@pytest.fixture(scope="module")
def pages() -> PageSet:
    return tile_drawings(costume(), paper=PAPERS["A4"], title="The Heron Warden")


def check_squares(page: Page) -> list[Floats]:
    squares = []
    for stroke in page.furniture.strokes:
        if stroke.layer is Layer.PAPER and stroke.closed and len(stroke.points_mm) == 4:
            size = np.ptp(stroke.points_mm, axis=0)
            if any(np.allclose(size, side, rtol=0, atol=1e-9) for side in CHECK_SIDES_MM):
                squares.append(stroke.points_mm)
    return squares


def test_a_check_square_meets_no_line_and_no_words_of_the_parts() -> None:
    """Full pages, some too full for a whole square; the page map's is always the large one."""
    parts = [plate(f"lame {n}", 120.0 + n, 170.0 - n, waves=n) for n in range(24)]
    pages = tile_drawings((*costume(), *parts), paper=PAPERS["A4"], title="The Heron Warden")
    sides = set()
    broken = 0
    for page in pages.pages:
        if not check_squares(page):
            broken += 1
            continue
        (square,) = check_squares(page)
        side = round(float(np.ptp(square[:, 0])), 6)
        sides.add(side)
        assert page.windows or side == CHECK_SIDE_MM
        ring = shapely.LinearRing(square)
        for window in page.windows:
            part = pages.parts[window.part]
            for stroke in part.strokes:
                points = window.page_from_part(stroke.points_mm)
                points = np.vstack([points, points[:1]]) if stroke.closed else points
                shown = shapely.clip_by_rect(shapely.LineString(points), *window.clip_mm.ravel())
                assert shown.is_empty or ring.distance(shown) > 0.9
            for words in part.words:
                box = shapely.Polygon(window.page_from_part(words_box_mm(words)))
                assert not ring.intersects(box)
    assert sides == set(CHECK_SIDES_MM)
    assert broken < 0.5 * len(pages.pages)


def test_a_check_square_keeps_off_holes_and_their_crosses() -> None:
    """Holes a hand apart all over a plate but for its upper right quarter."""
    places = [(x, y) for x in range(10, 180, 20) for y in range(10, 260, 20)]
    holes = tuple(Hole(np.array([float(x), float(y)]), 3.2) for x, y in places if x < 70 or y < 140)
    ring = np.array([[0.0, 0.0], [180.0, 0.0], [180.0, 255.0], [0.0, 255.0]])
    part = Drawing("sieve", (Stroke(ring, Layer.CUT, closed=True),), holes=holes)
    page = tile_drawings([part], paper=PAPERS["A4"], title="The Heron Warden").pages[1]
    (window,) = page.windows
    (square,) = check_squares(page)
    centres = window.page_from_part(np.array([hole.centre_mm for hole in holes]))
    off = shapely.distance(shapely.LinearRing(square), shapely.points(centres))
    assert off.min() > centre_cross_arm_mm(holes[0])


def test_where_nothing_else_is_free_the_square_is_broken_not_the_outline() -> None:
    """A lattice 30 mm wide leaves no room for a square of 50."""
    lines = [np.array([[x, 0.0], [x, 260.0]]) for x in range(0, 190, 30)]
    lines += [np.array([[0.0, y], [180.0, y]]) for y in range(0, 270, 30)]
    part = Drawing("lattice", strokes=tuple(Stroke(line * 1.0, Layer.CUT) for line in lines))
    page = tile_drawings([part], paper=PAPERS["A4"], title="The Heron Warden").pages[1]
    (window,) = page.windows
    drawn = shapely.MultiLineString([window.page_from_part(line * 1.0) for line in lines])
    grey = [s.points_mm for s in page.furniture.strokes if s.layer is Layer.PAPER]
    assert len(grey) > 20
    assert drawn.distance(shapely.MultiLineString(grey)) > 1.9
    assert check_squares(page) == []


def crosses(page: Page) -> Floats:
    """(K, 2) float mm: middles of the register crosses."""
    level = [
        s.points_mm
        for s in page.furniture.strokes
        if s.layer is Layer.MARK and len(s.points_mm) == 2 and np.ptp(s.points_mm[:, 1]) == 0
    ]
    return np.array([points.mean(axis=0) for points in level]).reshape(-1, 2)


@pytest.mark.parametrize("paper", ["A4", "A3", "Letter", "Tabloid"])
def test_every_page_has_one_check_square_where_printers_print(paper: str) -> None:
    pages = tile_drawings(costume(), paper=PAPERS[paper], title="The Heron Warden")
    for page in pages.pages:
        (square,) = check_squares(page)
        assert square.min() >= 10.0 - 1e-9
        assert (square.max(axis=0) <= [page.paper.width_mm - 10, page.paper.height_mm - 10]).all()


@pytest.mark.parametrize("paper", ["A4", "A3", "Letter", "Tabloid"])
def test_words_on_a_page_never_cover_words(paper: str) -> None:
    parts = [plate(f"part with a long name number {i}", 60.0, 50.0) for i in range(40)]
    pages = tile_drawings((*costume(), *parts), paper=PAPERS[paper], title="The Heron Warden")
    for page in pages.pages:
        boxes = [shapely.Polygon(words_box_mm(w)).buffer(-0.15) for w in page.furniture.words]
        limits = shapely.box(5.9, 5.9, page.paper.width_mm - 5.9, page.paper.height_mm - 5.9)
        for box, words in zip(boxes, page.furniture.words, strict=True):
            assert limits.contains(box), words.text
        for (a, one), (b, other) in itertools.combinations(
            zip(boxes, page.furniture.words, strict=True), 2
        ):
            assert not a.intersects(b), (page.label, one.text, other.text)


def test_neighbouring_tiles_carry_their_crosses_at_the_same_place_of_the_part(
    pages: PageSet,
) -> None:
    seen: dict[tuple[int, int], int] = {}
    for page in pages.pages:
        for window in page.windows:
            if window.tile:
                assert not window.turned
                for x, y in np.round((crosses(page) - window.shift_mm) / 0.001).astype(int):
                    seen[int(x), int(y)] = seen.get((int(x), int(y)), 0) + 1
    # 3 × 2 tiles share 7 edges with 2 crosses each
    assert len(seen) == 14
    assert set(seen.values()) == {2}


def test_crosses_lie_whole_inside_the_window_of_both_tiles(pages: PageSet) -> None:
    tiles = [p for p in pages.pages if p.windows and p.windows[0].tile]
    assert tiles
    for page in tiles:
        low, high = page.windows[0].clip_mm
        marks = [s for s in page.furniture.strokes if s.layer is Layer.MARK]
        for stroke in marks:
            assert (stroke.points_mm >= low - 1e-9).all()
            assert (stroke.points_mm <= high + 1e-9).all()


def test_cut_and_glue_edges_are_told_apart_by_line_and_by_word(pages: PageSet) -> None:
    (middle,) = [p for p in pages.pages if p.windows and p.windows[0].tile == "A2"]
    said = [w.text for w in middle.furniture.words]
    assert "cut along the line, lay over A1" in said
    assert "glue: A3 lies over this" in said
    assert "glue: B2 lies over this" in said
    left, right = middle.windows[0].clip_mm[:, 0]

    def upright(x: float) -> list[Stroke]:
        return [
            s
            for s in middle.furniture.strokes
            if s.layer is Layer.PAPER and np.allclose(s.points_mm[:, 0], x, atol=1e-9)
        ]

    assert len(upright(left + 3.0)) == 1
    assert len(upright(right - 7.0)) > 20


def test_small_parts_share_a_page_whole_and_apart(pages: PageSet) -> None:
    shared = [p for p in pages.pages if len(p.windows) > 1]
    assert shared
    for page in shared:
        for a, b in itertools.combinations(page.windows, 2):
            apart = np.maximum(a.clip_mm[0] - b.clip_mm[1], b.clip_mm[0] - a.clip_mm[1])
            assert apart.max() >= 8.0 - 1e-6
        for window in page.windows:
            drawn = np.concatenate(
                [window.page_from_part(s.points_mm) for s in pages.parts[window.part].strokes]
            )
            assert (drawn >= window.clip_mm[0]).all()
            assert (drawn <= window.clip_mm[1]).all()


def test_small_parts_stand_in_room_that_tiles_leave() -> None:
    """An L of 400 x 520 mm leaves corners of its tiles free: three lames need no page more."""
    bend = np.array([[0, 0], [400, 0], [400, 60], [60, 60], [60, 520], [0, 520]], dtype=float)
    part = Drawing("bend", strokes=(Stroke(bend, Layer.CUT, closed=True),))
    lames = [plate(f"lame {n}", 100.0, 60.0) for n in range(3)]
    alone = tile_drawings([part], paper=PAPERS["A4"], title="The Heron Warden")
    pages = tile_drawings([part, *lames], paper=PAPERS["A4"], title="The Heron Warden")
    assert len(pages.pages) == len(alone.pages)
    hosts = [page for page in pages.pages if len(page.windows) > 1]
    assert hosts
    outline = shapely.Polygon(bend)
    for page in hosts:
        tile, *guests = page.windows
        assert tile.tile
        own = shapely.transform(outline, tile.page_from_part)
        for guest in guests:
            assert str(guest.part + 1) in page.label
            box = shapely.box(*guest.clip_mm.ravel())
            assert box.distance(own) >= 8.0
            assert shapely.box(*tile.clip_mm.ravel()).contains(box)
    said = [words.text for words in pages.pages[0].furniture.words]
    assert {"2", "3", "4"} <= set(said)


def test_a_window_places_the_part_as_moving_its_drawing_does(pages: PageSet) -> None:
    for page in pages.pages:
        for window in page.windows:
            part = pages.parts[window.part]
            moved = part.moved(window.shift_mm, turn_rad=window.turn_rad)
            np.testing.assert_allclose(
                window.page_from_part(part.strokes[0].points_mm),
                moved.strokes[0].points_mm,
                atol=1e-9,
            )


def test_every_page_names_job_paper_and_its_number(pages: PageSet) -> None:
    count = len(pages.pages)
    for number, page in enumerate(pages.pages, start=1):
        said = [w.text for w in page.furniture.words]
        assert f"page {number} of {count} · A4 · print at 100 %" in said
        assert f"{page.label} · The Heron Warden" in said


def test_the_page_map_leads_to_the_pages_that_show_each_part(pages: PageSet) -> None:
    first = pages.pages[0]
    assert first.windows == ()
    said = [w.text for w in first.furniture.words]
    assert any("Print at 100 %" in text for text in said)
    assert any("deburr" in text for text in said)
    numbers = [i for i, p in enumerate(pages.pages, start=1) if any(w.part == 0 for w in p.windows)]
    assert f"{numbers[0]}–{numbers[-1]}" in said
    for i, page in enumerate(pages.pages, start=1):
        for window in page.windows:
            assert f"p{i}" in said
            assert window.tile in {"", *said}


def test_part_numbers_are_those_of_the_job() -> None:
    pages = tile_drawings(
        costume()[1:3], paper=PAPERS["A4"], title="The Heron Warden", numbers=(7, 12)
    )
    labels = [p.label for p in pages.pages[1:]]
    assert labels == ["part 7 shoulder cap, left", "part 12 shoulder cap, right"]


def test_a_number_that_stands_in_the_name_already_is_not_said_twice() -> None:
    parts = [plate("7 knee", 90.0, 120.0), plate("8 knees", 150.0, 200.0)]
    pages = tile_drawings(parts, paper=PAPERS["A4"], title="The Heron Warden", numbers=(7, 9))
    assert {p.label for p in pages.pages[1:]} == {"part 7 knee", "part 9 8 knees"}


def test_a_long_part_list_goes_on_over_further_map_pages() -> None:
    parts = [plate(f"scale {i}", 60.0, 50.0) for i in range(1, 51)]
    pages = tile_drawings(parts, paper=PAPERS["A4"], title="The Heron Warden")
    maps = [p for p in pages.pages if not p.windows]
    assert len(maps) > 1
    listed = {w.text for page in maps for w in page.furniture.words}
    assert {f"scale {i}" for i in range(1, 51)} <= listed


def test_the_same_parts_give_the_same_pages() -> None:
    one, other = (
        tile_drawings(costume(), paper=PAPERS["Letter"], title="The Heron Warden") for _ in range(2)
    )

    def plain(words: Words) -> tuple[str, float, float]:
        return words.text, float(words.at_mm[0]), float(words.at_mm[1])

    assert [p.label for p in one.pages] == [p.label for p in other.pages]
    for a, b in zip(one.pages, other.pages, strict=True):
        assert list(map(plain, a.furniture.words)) == list(map(plain, b.furniture.words))
        for v, w in zip(a.windows, b.windows, strict=True):
            np.testing.assert_array_equal(v.shift_mm, w.shift_mm)


def test_what_cannot_be_printed_is_refused_with_words() -> None:
    a4 = PAPERS["A4"]
    with pytest.raises(InputError, match="no part"):
        tile_drawings([], paper=a4, title="empty")
    with pytest.raises(InputError, match="5 parts but 1 part numbers"):
        tile_drawings(costume(), paper=a4, title="numbers", numbers=(1,))
    with pytest.raises(DesignError, match="margins leaves"):
        tile_drawings(costume(), paper=a4, title="margin", margin_mm=60.0)
    with pytest.raises(DesignError, match="overlap of 2 mm"):
        tile_drawings(costume(), paper=a4, title="overlap", overlap_mm=2.0)
