"""SVG read back: true millimetres, layers by name, words the right way round."""

from __future__ import annotations

import io
import math
import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest
import svgelements

from fitkit.drawing.drawing import Drawing, Fill, Hole, Layer, Stroke, TextAnchor, Words
from fitkit.drawing.text_width import CAP_HEIGHT_PER_EM
from fitkit.export.drawing_svg import svg_of_drawing
from fitkit.geometry.arrays import Floats
from tests.drawing.example_parts import WEARER, costume

SVG = "{http://www.w3.org/2000/svg}"
PART = Drawing(
    "test & plate",
    strokes=(
        Stroke(np.array([[-1 / 3, 2.0], [50.123456, 2.0], [50.0, 77.7654321]]), Layer.CUT, True),
        Stroke(np.array([[1.0, 3.0], [1.0, 60.0]]), Layer.GRAIN),
    ),
    fills=(Fill(np.array([[5.0, 5.0], [9.0, 5.0], [9.0, 9.0]])),),
    holes=(Hole(np.array([20.25, 30.125]), 3.2),),
    words=(Words(f"für {WEARER} <1>", np.array([12.0, 40.0]), 3.5, 0.5, TextAnchor.CENTRE),),
)


def true_mm(root: ET.Element, points: list[tuple[str, str]]) -> Floats:
    """Back from SVG's coordinates, y down, to those of the drawing."""
    left, top = float(root.attrib["data-left-mm"]), float(root.attrib["data-top-mm"])
    return np.array([[left + float(x), top - float(y)] for x, y in points])


@pytest.fixture(scope="module")
def root() -> ET.Element:
    return ET.fromstring(svg_of_drawing(PART))


def test_one_unit_is_one_millimetre(root: ET.Element) -> None:
    _, _, width, height = root.attrib["viewBox"].split()
    assert root.attrib["width"] == f"{width}mm"
    assert root.attrib["height"] == f"{height}mm"


def test_points_come_back_to_a_millionth_of_a_millimetre(root: ET.Element) -> None:
    for stroke in PART.strokes:
        (path,) = root.findall(f"{SVG}g[@id='{stroke.layer.value}']/{SVG}path")
        points = re.findall(r"(-?[\d.]+),(-?[\d.]+)", path.attrib["d"])
        np.testing.assert_allclose(true_mm(root, points), stroke.points_mm, rtol=0, atol=1e-6)
        assert path.attrib["d"].endswith("Z") == stroke.closed


def test_an_svg_reader_sees_true_millimetres_and_cuts_that_are_strokes_only() -> None:
    """Opened by svgelements at 25.4 pixels to the inch; it rounds a millimetre by 5e-7."""
    read = svgelements.SVG.parse(io.BytesIO(svg_of_drawing(PART)), ppi=25.4)
    paths = {
        group.id: next(group.select(lambda one: isinstance(one, svgelements.Path)), None)
        for group in read.select(lambda one: isinstance(one, svgelements.Group))
    }
    cut = paths["cut"]
    for path, stroke in ((cut, PART.strokes[0]), (paths["grain"], PART.strokes[1])):
        left, top, right, bottom = path.bbox()
        size = np.ptp(stroke.points_mm, axis=0)
        np.testing.assert_allclose([right - left, bottom - top], size, rtol=2e-6, atol=0)
        assert path.fill.value is None
        assert path.stroke.value is not None
    (hole,) = (one for one in read.elements() if isinstance(one, svgelements.Circle))
    assert hole.bbox()[2] - hole.bbox()[0] == pytest.approx(3.2, rel=2e-6)
    assert hole.fill.value is None
    apart = np.array([hole.bbox()[0] + 1.6 - cut.bbox()[0], cut.bbox()[3] - hole.bbox()[1] - 1.6])
    np.testing.assert_allclose(apart, [20.25 + 1 / 3, 30.125 - 2.0], rtol=2e-6, atol=0)


def test_holes_are_circles_without_crosses(root: ET.Element) -> None:
    (circle,) = root.findall(f"{SVG}g[@id='drill']/{SVG}circle")
    centre = true_mm(root, [(circle.attrib["cx"], circle.attrib["cy"])])
    np.testing.assert_allclose(centre, [[20.25, 30.125]], rtol=0, atol=1e-6)
    assert float(circle.attrib["r"]) == pytest.approx(1.6, abs=1e-6)
    assert len(root.findall(f"{SVG}g[@id='drill']/*")) == 1


def test_layers_are_groups_by_name_and_only_those_in_use(root: ET.Element) -> None:
    names = [group.attrib["id"] for group in root.findall(f"{SVG}g")]
    assert names == ["cut", "drill", "grain", "words", "solid"]


def test_words_are_turned_never_mirrored(root: ET.Element) -> None:
    (text,) = root.findall(f"{SVG}g[@id='words']/{SVG}text")
    assert text.text == f"für {WEARER} <1>"
    place = re.fullmatch(r"translate\((\S+) (\S+)\) rotate\((\S+)\)", text.attrib["transform"])
    assert place is not None
    np.testing.assert_allclose(
        true_mm(root, [(place[1], place[2])]), [[12.0, 40.0]], rtol=0, atol=1e-6
    )
    # y runs down: counter-clockwise becomes a negative angle, without any reflection
    assert float(place[3]) == pytest.approx(-math.degrees(0.5), abs=1e-6)
    assert float(text.attrib["font-size"]) * CAP_HEIGHT_PER_EM == pytest.approx(3.5, abs=1e-6)
    assert text.attrib["text-anchor"] == "middle"


def test_everything_lies_inside_the_view_box() -> None:
    for part in costume():
        root = ET.fromstring(svg_of_drawing(part))
        width, height = (float(v) for v in root.attrib["viewBox"].split()[2:])
        for path in root.iter(f"{SVG}path"):
            points = np.array(re.findall(r"(-?[\d.]+),(-?[\d.]+)", path.attrib["d"]), dtype=float)
            assert (points >= 0).all()
            assert (points <= [width, height]).all()


def test_same_drawing_same_bytes() -> None:
    assert svg_of_drawing(PART) == svg_of_drawing(PART)
