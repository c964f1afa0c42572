"""DXF read back by ezdxf: millimetres, layers by name, nothing lost."""

from __future__ import annotations

import io
import math
from typing import Any

import ezdxf
import numpy as np
import pytest

from fitkit.drawing.drawing import Layer
from fitkit.drawing.line_style import LINE_STYLES
from fitkit.export.drawing_dxf import dxf_of_drawing
from tests.drawing.example_parts import WEARER, plate
from tests.export.test_drawing_svg import PART


def read(data: bytes) -> Any:
    return ezdxf.read(io.StringIO(data.decode("utf-8")))


@pytest.fixture(scope="module")
def document() -> Any:
    return read(dxf_of_drawing(PART))


def test_units_are_metric_millimetres(document: Any) -> None:
    """$INSUNITS 4 is millimetres, $MEASUREMENT 1 metric (DXF reference, header section)."""
    assert document.header["$INSUNITS"] == 4
    assert document.header["$MEASUREMENT"] == 1


def test_strokes_come_back_as_polylines_on_their_layers(document: Any) -> None:
    lines = list(document.modelspace().query("LWPOLYLINE"))
    assert [line.dxf.layer for line in lines] == ["cut", "grain"]
    for line, stroke in zip(lines, PART.strokes, strict=True):
        points = np.array(line.get_points("xy"))
        np.testing.assert_allclose(points, stroke.points_mm, rtol=0, atol=1e-6)
        assert line.closed == stroke.closed


def test_holes_come_back_as_circles_with_their_centres(document: Any) -> None:
    (circle,) = document.modelspace().query("CIRCLE")
    (point,) = document.modelspace().query("POINT")
    assert circle.dxf.radius == pytest.approx(1.6, abs=1e-9)
    np.testing.assert_allclose(tuple(circle.dxf.center)[:2], [20.25, 30.125], atol=1e-9)
    np.testing.assert_allclose(tuple(point.dxf.location)[:2], [20.25, 30.125], atol=1e-9)
    assert circle.dxf.layer == point.dxf.layer == "drill"


def test_words_keep_letters_height_and_turn_and_are_not_mirrored(document: Any) -> None:
    (text,) = document.modelspace().query("TEXT")
    assert text.dxf.text == f"für {WEARER} <1>"
    assert text.dxf.height == 3.5
    assert text.dxf.rotation == pytest.approx(math.degrees(0.5))
    assert not text.dxf.get("text_generation_flag", 0)
    assert text.dxf.get("width", 1.0) > 0
    np.testing.assert_allclose(tuple(text.get_placement()[1])[:2], [12.0, 40.0], atol=1e-9)


def test_solid_areas_come_back_as_hatches(document: Any) -> None:
    (hatch,) = document.modelspace().query("HATCH")
    assert hatch.dxf.layer == "solid"
    corners = np.array(hatch.paths[0].vertices)[:, :2]
    np.testing.assert_allclose(corners, PART.fills[0].points_mm, atol=1e-9)


def test_layers_carry_width_and_dashes(document: Any) -> None:
    names = {layer.dxf.name for layer in document.layers} - {"0", "Defpoints"}
    assert names == {"cut", "drill", "grain", "words", "solid"}
    assert document.layers.get("cut").dxf.lineweight == 50
    grain = document.layers.get("grain")
    assert grain.dxf.linetype in document.linetypes
    assert grain.dxf.lineweight == round(100 * LINE_STYLES[Layer.GRAIN].width_mm)


def test_the_file_is_sound() -> None:
    part = plate("knee", 90.0, 120.0)
    auditor = read(dxf_of_drawing(part)).audit()
    assert not auditor.errors
    assert not auditor.fixes


def test_same_drawing_same_bytes_without_leaving_a_mark_on_the_library() -> None:
    before = ezdxf.options.write_fixed_meta_data_for_testing
    assert dxf_of_drawing(PART) == dxf_of_drawing(PART)
    assert ezdxf.options.write_fixed_meta_data_for_testing is before
