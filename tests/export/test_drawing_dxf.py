"""DXF read back by ezdxf: millimetres, layers by name, nothing lost."""

from __future__ import annotations

import io
import math
import os
import subprocess
import sys
from typing import Any

import ezdxf
import numpy as np
import pytest
import shapely
from ezdxf.path import make_path

from fitkit.drawing.drawing import Drawing, Layer, Stroke
from fitkit.drawing.line_style import LINE_STYLES
from fitkit.drawing.part_content import extent_mm
from fitkit.export.drawing_dxf import DXF_LAYERS, dxf_of_drawing
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


def test_header_tells_the_extent(document: Any) -> None:
    """$EXTMIN and $EXTMAX (DXF reference, header section): a reader may go by them alone."""

    def told(document: Any) -> Any:
        return [list(document.header[name])[:2] for name in ("$EXTMIN", "$EXTMAX")]

    np.testing.assert_allclose(told(document), extent_mm(PART), atol=1e-6)
    sheet = np.array([[0.0, 0.0], [1000.0, 0.0], [1000.0, 700.0], [0.0, 700.0]])
    at_origin = Drawing("sheet", (Stroke(sheet, Layer.PAPER, closed=True),))
    assert told(read(dxf_of_drawing(at_origin))) == [[0.0, 0.0], [1000.0, 700.0]]


def test_strokes_come_back_as_polylines_on_their_layers(document: Any) -> None:
    lines = list(document.modelspace().query("LWPOLYLINE"))
    assert [line.dxf.layer for line in lines] == ["CUT", "MARK"]
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
    assert circle.dxf.layer == point.dxf.layer == "DRILL"


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
    assert hatch.dxf.layer == "SOLID"
    corners = np.array(hatch.paths[0].vertices)[:, :2]
    np.testing.assert_allclose(corners, PART.fills[0].points_mm, atol=1e-9)


def test_layers_are_those_a_cutter_asks_for(document: Any) -> None:
    names = {layer.dxf.name for layer in document.layers} - {"0", "Defpoints"}
    assert names == {"CUT", "DRILL", "MARK", "WORDS", "SOLID"}
    assert document.layers.get("CUT").dxf.lineweight == 50
    assert set(DXF_LAYERS) == set(Layer)
    assert {"CUT", "DRILL", "MARK", "BEND", "WORDS"} < set(DXF_LAYERS.values())


def test_what_shares_a_layer_keeps_its_own_dashes(document: Any) -> None:
    (grain,) = document.modelspace().query("LWPOLYLINE[layer=='MARK']")
    assert grain.dxf.linetype in document.linetypes
    pattern = document.linetypes.get(grain.dxf.linetype).pattern_tags
    lengths = [abs(tag.value) for tag in pattern.tags if tag.code == 49]
    assert lengths == pytest.approx(LINE_STYLES[Layer.GRAIN].dash_mm)
    assert grain.dxf.lineweight == round(100 * LINE_STYLES[Layer.GRAIN].width_mm)
    assert document.layers.get("MARK").dxf.linetype == "CONTINUOUS"


def test_the_release_is_r2010(document: Any) -> None:
    """AC1024 is what R2010 calls itself (DXF reference, $ACADVER)."""
    assert document.dxfversion == "AC1024"


@pytest.mark.parametrize("closed", [True, False])
def test_arcs_lie_within_a_fiftieth_of_a_millimetre_of_the_line(closed: bool) -> None:
    """Asked: 0.02 mm. Both ways, with ezdxf's own flattening of what it read back."""
    outline = plate("wing", 260.0, 340.0, points=700).strokes[0].points_mm
    part = Drawing("wing", strokes=(Stroke(outline, Layer.CUT, closed=closed),))
    (line,) = read(dxf_of_drawing(part)).modelspace().query("LWPOLYLINE")
    assert line.has_arc
    assert len(line) < 0.2 * len(outline)
    assert line.closed == closed
    drawn = [(p.x, p.y) for p in make_path(line).flattening(0.0005)]
    own = shapely.LineString(np.vstack([outline, outline[:1]]) if closed else outline)
    assert shapely.hausdorff_distance(shapely.LineString(drawn), own, 0.5) < 0.0205


def test_the_file_is_sound() -> None:
    part = plate("knee", 90.0, 120.0)
    auditor = read(dxf_of_drawing(part)).audit()
    assert not auditor.errors
    assert not auditor.fixes


def test_runs_that_hash_otherwise_give_the_same_bytes() -> None:
    """Sets of words come in another order in each process; the file must not."""
    code = (
        "import hashlib; from fitkit.export.drawing_dxf import dxf_of_drawing;"
        "from tests.export.test_drawing_dxf import PART;"
        "print(hashlib.sha256(dxf_of_drawing(PART)).hexdigest())"
    )
    digests = {
        subprocess.run(
            [sys.executable, "-c", code],
            env={**os.environ, "PYTHONHASHSEED": seed},
            check=True,
            capture_output=True,
            text=True,
        ).stdout
        for seed in ("1", "4")
    }
    assert len(digests) == 1


def test_same_drawing_same_bytes_without_leaving_a_mark_on_the_library() -> None:
    before = ezdxf.options.write_fixed_meta_data_for_testing
    assert dxf_of_drawing(PART) == dxf_of_drawing(PART)
    assert ezdxf.options.write_fixed_meta_data_for_testing is before
