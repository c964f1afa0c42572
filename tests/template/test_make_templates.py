"""Templates read back: true lines, words inside them and never mirrored, marks that agree."""

from __future__ import annotations

import re

import numpy as np
import pytest
import shapely

from fitkit.body.side import Side
from fitkit.drawing.drawing import Drawing, Layer, Words
from fitkit.drawing.text_width import words_box_mm
from fitkit.flatten.flat_patch import FlatPatch
from fitkit.flatten.flatten_patch import flatten_patch
from fitkit.flatten.formed_edges import formed_edges
from fitkit.geometry.arrays import Floats
from fitkit.patch.design import EdgeTreatment
from fitkit.template.make_templates import make_templates
from fitkit.template.match_marks import match_marks
from fitkit.template.template import Template
from fitkit.template.words import SMALLEST_MM
from tests.template.parts import barrel_panels, dome, rectangle, vambrace
from tests.truth import solids


def templates(flat: FlatPatch, number: int = 1) -> tuple[Template, ...]:
    return make_templates(flat, number=number, job_name="Heron Warden", wearer="Ada")


def strokes_on(drawing: Drawing, layer: Layer) -> list[Floats]:
    return [stroke.points_mm for stroke in drawing.strokes if stroke.layer is layer]


def box(words: Words) -> shapely.Polygon:
    return shapely.Polygon(words_box_mm(words))


def texts(template: Template) -> list[str]:
    return [words.text for words in template.drawing.words]


ALL = {
    "vambrace": vambrace,
    "dome": dome,
    "plate": lambda: rectangle(paired=True, side=Side.RIGHT, note="round the corners"),
    "strap": lambda: rectangle(22.0, 260.0),
    "tiny": lambda: rectangle(14.0, 11.0),
    "lapped": lambda: rectangle(edges={"head": EdgeTreatment("lap", 15.0)}),
}


@pytest.fixture(scope="module")
def made() -> dict[str, tuple[Template, ...]]:
    return {name: templates(build()) for name, build in ALL.items()}


@pytest.mark.parametrize("name", ALL)
def test_words_cross_no_line_and_no_other_words(
    made: dict[str, tuple[Template, ...]], name: str
) -> None:
    for template in made[name]:
        words = template.drawing.words
        boxes = [box(one) for one in words]
        for i, one in enumerate(boxes):
            assert words[i].height_mm >= SMALLEST_MM
            for other in boxes[:i]:
                assert not one.intersects(other), (words[i].text, name)
            for stroke in template.drawing.strokes:
                points = stroke.points_mm
                if stroke.closed:
                    points = np.vstack([points, points[:1]])
                assert not shapely.LineString(points).intersects(one), (words[i].text, name)


@pytest.mark.parametrize("name", ALL)
def test_words_stand_upright_and_inside_the_plate_or_within_the_drawing(
    made: dict[str, tuple[Template, ...]], name: str
) -> None:
    for template in made[name]:
        outline = shapely.Polygon(template.outline_mm)
        low, high = template.drawing.bounds_mm()
        everything = shapely.box(*low, *high)
        outside = [one for one in template.drawing.words if not outline.contains(box(one))]
        for one in outside:
            assert everything.contains(box(one))
            assert outline.disjoint(box(one))
        if name not in ("strap", "tiny"):
            assert outside == []
        for one in template.drawing.words:
            assert -np.pi / 2.0 < one.angle_rad < np.pi / 2.0 + 0.11


@pytest.mark.parametrize("name", ALL)
def test_every_template_says_what_the_maker_has_to_know(
    made: dict[str, tuple[Template, ...]], name: str
) -> None:
    for template in made[name]:
        said = " ".join(texts(template))
        assert f"{template.number} {template.name}" in said
        assert "outside shown" in said
        assert "cut 1" in said
        assert f"{template.material} {template.thickness_mm:g} mm" in said
        assert "Heron Warden" in said
        assert "Ada" in said
        if template.side is not Side.CENTRE:
            assert f"wearer's {template.side.upper()}" in said
            assert f"wearer's {template.side.other.upper()}" not in said


def test_small_parts_get_their_words_beside_them_with_a_leader(
    made: dict[str, tuple[Template, ...]],
) -> None:
    (tiny,) = made["tiny"]
    leaders = strokes_on(tiny.drawing, Layer.WORDS)
    assert len(leaders) == 2
    assert shapely.Polygon(tiny.outline_mm).distance(shapely.LineString(leaders[0])) < 1e-9
    assert tiny.drawing.bounds_mm()[1, 0] > 40.0
    assert "tiny" not in texts(tiny)


@pytest.mark.parametrize("name", ALL)
def test_outline_lies_at_the_origin_counter_clockwise_and_is_the_cut_line(
    made: dict[str, tuple[Template, ...]], name: str
) -> None:
    for template in made[name]:
        assert template.outline_mm.min(axis=0) == pytest.approx([0.0, 0.0], abs=1e-9)
        ring = shapely.Polygon(template.outline_mm)
        assert ring.is_valid
        assert ring.exterior.is_ccw
        (cut,) = strokes_on(template.drawing, Layer.CUT)
        assert (cut == template.outline_mm).all()


@pytest.mark.parametrize("name", ["vambrace", "plate"])
def test_twin_is_the_mirror_image_to_a_millionth_of_a_micron(
    made: dict[str, tuple[Template, ...]], name: str
) -> None:
    """Reflection in the plane x = 0 (closed form): (x, y) goes to (width - x, y), to 1e-9 mm."""
    drawn, twin = made[name]
    assert (drawn.number, twin.number) == (1, 2)
    assert twin.side is drawn.side.other
    width = drawn.outline_mm[:, 0].max()

    def mirrored(points: Floats) -> Floats:
        return np.column_stack([width - points[:, 0], points[:, 1]])

    assert twin.outline_mm == pytest.approx(mirrored(drawn.outline_mm)[::-1], abs=1e-9)
    area = shapely.Polygon(drawn.outline_mm).area
    assert shapely.Polygon(twin.outline_mm).area == pytest.approx(area, rel=1e-12)
    for layer in (Layer.EDGE, Layer.CUT):
        here = shapely.MultiLineString([mirrored(s) for s in strokes_on(drawn.drawing, layer)])
        there = shapely.MultiLineString(strokes_on(twin.drawing, layer))
        if not here.is_empty:
            assert here.hausdorff_distance(there) < 1e-9


def test_words_of_the_twin_are_laid_anew_and_name_the_other_side(
    made: dict[str, tuple[Template, ...]],
) -> None:
    drawn, twin = made["vambrace"]
    assert "wearer's LEFT" in " ".join(texts(drawn))
    assert "wearer's RIGHT" in " ".join(texts(twin))
    same = {re.sub("LEFT|RIGHT|^[12] ", "", text) for text in texts(drawn)}
    assert {"vambrace", "50 mm", "UP", "elbow level"} <= {text.strip() for text in same}
    # Read from left to right: every base line runs towards +x, or straight up the page.
    for one in twin.drawing.words:
        assert np.cos(one.angle_rad) > -0.11


def test_centre_part_is_drawn_once_and_unpaired_too() -> None:
    assert len(templates(dome())) == 1
    assert len(templates(rectangle(side=Side.LEFT))) == 1


def test_rule_is_fifty_millimetres_and_arrow_points_up(
    made: dict[str, tuple[Template, ...]],
) -> None:
    for template in made["plate"]:
        marks = strokes_on(template.drawing, Layer.MARK)
        spans = [np.ptp(points, axis=0) for points in marks]
        assert any(x == pytest.approx(50.0, abs=1e-9) and y < 1e-9 for x, y in spans)
        assert "50 mm" in texts(template)
        assert "UP" in texts(template)


def test_plate_stands_upright_whatever_way_it_was_flattened() -> None:
    """A plate in the plane facing the front has the wearer's left (+x) on the right."""
    (template,) = templates(rectangle(edges={"head": EdgeTreatment("lap", 20.0)}))
    assert np.ptp(template.outline_mm, axis=0) == pytest.approx([200.0, 140.0], abs=1e-6)
    (own,) = strokes_on(template.drawing, Layer.EDGE)
    assert own[:, 1] == pytest.approx(np.full(len(own), 120.0), abs=1e-6)
    names = {words.text: words.at_mm for words in template.drawing.words}
    assert names["outer"][0] > 100.0 > names["inner"][0]


def test_lap_adds_its_width_times_the_length_of_a_straight_edge() -> None:
    """Area of a rectangle (closed form); two laps that meet at a corner share its square."""
    plain = shapely.Polygon(templates(rectangle())[0].outline_mm).area
    one = templates(rectangle(edges={"head": EdgeTreatment("lap", 15.0)}))[0]
    assert shapely.Polygon(one.outline_mm).area - plain == pytest.approx(15.0 * 200.0, abs=1e-6)
    laps = {"head": EdgeTreatment("lap", 15.0), "outer": EdgeTreatment("lap", 10.0)}
    two = templates(rectangle(edges=laps))[0]
    added = shapely.Polygon(two.outline_mm).area - plain
    assert added == pytest.approx(15.0 * 200.0 + 10.0 * 120.0 + 150.0, abs=1e-6)


def test_seam_has_one_lap_not_two(made: dict[str, tuple[Template, ...]]) -> None:
    flat = vambrace()
    blank = shapely.Polygon(np.concatenate([e.points_mm[:-1] for e in flat.outline])).area
    slant = np.hypot(200.0, 15.0)
    added = shapely.Polygon(made["vambrace"][0].outline_mm).area - blank
    assert added == pytest.approx(15.0 * slant, rel=1e-3)
    assert len(strokes_on(made["vambrace"][0].drawing, Layer.EDGE)) == 1


def test_frustum_template_has_the_developed_size() -> None:
    """Frustum 60/40/150 (closed form): radii 453.98 and 302.65, chords 366.25 and 244.17 mm."""
    mesh = solids.frustum(60.0, 40.0, 150.0, 4.0, capped=False)
    flat = flatten_patch(solids.patch_of(mesh, lines=("hem", "cuff")))
    (template,) = templates(flat)
    ring = template.outline_mm
    # Whichever ruling it was opened along, the sector's corners are its widest points.
    angle, outer, inner = np.radians(47.578939), 453.982379, 302.654919
    chord = 2.0 * outer * np.sin(angle / 2.0)
    assert chord == pytest.approx(366.2522, abs=1e-3)
    gaps = np.linalg.norm(ring[:, None] - ring[None], axis=2)
    # The mesh's girth is short by (pi / n)^2 / 6, 0.02 %.
    assert gaps.max() == pytest.approx(chord, rel=4e-4)
    # Blanks have no allowance here: the area is the frustum's side, 47540.92 mm2.
    assert shapely.Polygon(ring).area == pytest.approx(47540.9235, rel=4e-4)
    assert inner < outer


def test_parts_that_share_a_line_get_the_same_marks_in_the_same_places() -> None:
    """Marks of two panels on their common line agree by label and by place on the form."""
    panels = barrel_panels()

    def on_line(name: str, line: str) -> dict[str, Floats]:
        flat = panels[name]
        formed = formed_edges(flat)
        found = {}
        for mark in match_marks(flat.outline, formed, [0.0] * len(formed)):
            if mark.line != line:
                continue
            edge, points = next(
                (e, f) for e, f in zip(flat.outline, formed, strict=True) if e.line == line
            )
            # From the flat place back to the form, along the edge.
            steps = np.diff(edge.points_mm, axis=0)
            share = np.einsum("ni,ni->n", mark.at_mm - edge.points_mm[:-1], steps) / np.einsum(
                "ni,ni->n", steps, steps
            )
            foot = edge.points_mm[:-1] + np.clip(share, 0, 1)[:, None] * steps
            k = int(np.argmin(np.linalg.norm(foot - mark.at_mm, axis=1)))
            t = float(np.clip(share[k], 0, 1))
            found[mark.label] = points[k] + t * (points[k + 1] - points[k])
        return found

    for one, other, line in (
        ("left upper", "left lower", "waist"),
        ("right upper", "right lower", "waist"),
        ("left upper", "right upper", "centre"),
    ):
        here, there = on_line(one, line), on_line(other, line)
        assert len(here) >= 1
        assert set(here) == set(there)
        for label, place in here.items():
            assert place == pytest.approx(there[label], abs=0.1)


def test_same_blank_gives_the_same_template_to_the_bit() -> None:
    first, second = (templates(vambrace())[0].drawing for _ in range(2))
    assert texts_and_places(first) == texts_and_places(second)
    for a, b in zip(first.strokes, second.strokes, strict=True):
        assert a.points_mm.tobytes() == b.points_mm.tobytes()


def texts_and_places(drawing: Drawing) -> list[tuple[str, bytes, float]]:
    return [(w.text, w.at_mm.tobytes(), w.angle_rad) for w in drawing.words]
