"""What stands on the page of a sheet to mark out by."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely

from fitkit.drawing.drawing import Drawing, Hole, Layer, Stroke, Words
from fitkit.drawing.text_width import words_box_mm
from fitkit.sheets.cutter_drawing import cutter_drawing
from fitkit.sheets.layout_drawing import layout_page
from fitkit.sheets.nesting import LaidSheet, NestRules, PlacedPart
from fitkit.sheets.offcuts import offcuts_of_sheet
from fitkit.sheets.part_to_place import parts_to_place
from fitkit.template.make_templates import make_templates
from tests.sheets.pieces import box, sheet
from tests.template.parts import rectangle


def page_words(*placed: PlacedPart) -> list[str]:
    page = layout_page(
        LaidSheet(sheet(), 1, placed), NestRules(), (), job_name="Heron", place=(1, 1)
    )
    return [one.text for one in page.words]


def test_a_part_too_narrow_for_its_name_is_named_below_the_sheet() -> None:
    wide = PlacedPart(box(300.0, 200.0, 1), np.array([10.0, 10.0]))
    narrow = PlacedPart(box(12.0, 400.0, 2), np.array([400.0, 10.0]), pinned=True)
    told = page_words(wide, narrow)
    assert "1 part 1" in told
    assert "2" in told
    assert "2 part 2, pinned" in told


def test_the_head_says_which_way_up_unless_a_part_says_otherwise() -> None:
    up = PlacedPart(box(300.0, 200.0, 1), np.array([10.0, 10.0]))
    down = PlacedPart(box(300.0, 200.0, 2), np.array([700.0, 10.0]), mirrored=True)
    assert any(one.endswith("outside of each part up") for one in page_words(up))
    both = page_words(up, down)
    assert "outside down" in both
    assert any(one.endswith("outside of each part up, but where told") for one in both)


def test_what_stands_beside_a_small_part_does_not_come_onto_the_cutter_s_sheet() -> None:
    """Its words, their frame and leader would lie over its neighbours."""
    flat = rectangle(14.0, 60.0, material="card", thickness_mm=1.0)
    (template,) = make_templates(flat, number=1, job_name="Heron", wearer="Ada")
    (part,) = parts_to_place([template])
    laid = LaidSheet(sheet(), 1, (PlacedPart(part, np.array([300.0, 200.0])),))
    offcuts = offcuts_of_sheet(laid, 3.0, 120.0)
    drawing = cutter_drawing(laid, {1: template.drawing}, offcuts)
    near = laid.placed[0].polygon().buffer(0.6)
    on_it = [one for one in drawing.strokes if one.layer is not Layer.PAPER]
    assert on_it
    assert all(near.covers(shapely.LineString(one.points_mm)) for one in on_it)
    assert "1" in [one.text for one in drawing.words]
    kept = [one for one in drawing.words if one.layer is Layer.PAPER]
    sizes = [" × ".join(f"{one:.0f}" for one in offcut.stock.size_mm) for offcut in offcuts]
    assert [one.text for one in kept] == [f"keep {size}" for size in sizes] != []


@pytest.mark.parametrize("grain_rad", [0.0, np.pi / 2.0])
def test_the_cutter_s_sheet_tells_its_grain_and_where_to_keep_off(grain_rad: float) -> None:
    """All that the page tells of the sheet itself, on the layer that no cutter follows."""
    zone = np.array([[400.0, 500.0], [480.0, 500.0], [480.0, 560.0], [400.0, 560.0]])
    small = np.array([[700.0, 500.0], [704.0, 500.0], [704.0, 504.0], [700.0, 504.0]])
    stock = replace(sheet(), bad_zones_mm=(zone, small), grain_rad=grain_rad)
    part = box(300.0, 200.0, 1)
    laid = LaidSheet(stock, 1, (PlacedPart(part, np.array([300.0, 200.0])),))
    drawn = Drawing("part", (Stroke(part.outline_mm, Layer.CUT, closed=True),))
    drawing = cutter_drawing(laid, {1: drawn}, ())
    told = {one.text: one for one in drawing.words if one.layer is Layer.PAPER}
    assert set(told) == {"keep off", "grain"}
    off, under = (one for one in drawing.words if one.text == "keep off")
    assert shapely.Polygon(zone).covers(shapely.Polygon(words_box_mm(off)))
    assert not shapely.Polygon(small).intersects(shapely.Polygon(words_box_mm(under)))
    shaft = next(s for s in drawing.strokes if not s.closed and s.layer is Layer.PAPER)
    way = shaft.points_mm[1] - shaft.points_mm[0]
    assert np.arctan2(way[1], way[0]) == pytest.approx(grain_rad)
    taken = shapely.union_all([laid.placed[0].polygon(), shapely.Polygon(zone)])
    assert not taken.intersects(shapely.LineString(shaft.points_mm))
    assert not taken.intersects(shapely.Polygon(words_box_mm(told["grain"])))
    plain = LaidSheet(replace(stock, grain_rad=None), 1, laid.placed)
    assert "grain" not in [one.text for one in cutter_drawing(plain, {1: drawn}, ()).words]


def test_a_number_on_the_cutter_s_sheet_keeps_off_holes_and_lines() -> None:
    strap = box(100.0, 25.0, 1)
    line = Stroke(np.array([[0.0, 12.5], [45.0, 12.5]]), Layer.MARK)
    holes = tuple(Hole(np.array([x, 12.5]), 4.0) for x in (50.0, 70.0, 90.0))
    drawn = Drawing("strap", (Stroke(strap.outline_mm, Layer.CUT, closed=True), line), holes=holes)
    laid = LaidSheet(sheet(), 1, (PlacedPart(strap, np.array([300.0, 200.0])),))
    drawing = cutter_drawing(laid, {1: drawn}, ())
    boxes = [shapely.Polygon(words_box_mm(one)) for one in drawing.words]
    assert "1" in drawing.words[0].text
    for one in drawing.holes:
        assert all(shapely.Point(one.centre_mm).distance(told) > 2.0 for told in boxes)
    (mark,) = [one for one in drawing.strokes if one.layer is Layer.MARK]
    assert all(shapely.LineString(mark.points_mm).distance(told) > 0.0 for told in boxes)


def test_a_match_mark_s_number_does_not_pass_for_the_part_s() -> None:
    strap = box(100.0, 60.0, 1)
    told = ("1", "1 screw M4", "A = 1")
    marks = tuple(Words(text, np.array([4.0, 4.0 + 10.0 * k]), 3.0) for k, text in enumerate(told))
    drawn = Drawing("strap", (Stroke(strap.outline_mm, Layer.CUT, closed=True),), words=marks)
    laid = LaidSheet(sheet(), 1, (PlacedPart(strap, np.array([300.0, 200.0])),))
    drawing = cutter_drawing(laid, {1: drawn}, ())
    assert [one.text for one in drawing.words] == [*told, "1 part 1"]
    titled = replace(drawn, words=(Words("1 part 1", np.array([4.0, 30.0]), 5.0),))
    drawing = cutter_drawing(laid, {1: titled}, ())
    assert [one.text for one in drawing.words] == ["1 part 1"]
