from __future__ import annotations

import numpy as np
import pytest

from fitkit.body.side import Side
from fitkit.drawing.drawing import Drawing, Hole, Layer, Stroke
from fitkit.sheets.part_to_place import parts_to_place
from fitkit.sheets.stock_sheet import rectangle_mm
from fitkit.template.template import Template


def test_a_template_gives_openings_drilled_holes_and_grain() -> None:
    outline = rectangle_mm(200.0, 100.0)
    opening = rectangle_mm(50.0, 40.0) + 20.0
    drawing = Drawing(
        "1 plate",
        strokes=(
            Stroke(outline, Layer.CUT, closed=True),
            Stroke(opening, Layer.CUT, closed=True),
            Stroke(np.array([[100.0, 10.0], [100.0, 60.0]]), Layer.GRAIN),
        ),
        holes=(Hole(np.array([150.0, 50.0]), 4.0),),
    )
    template = Template(1, "plate", Side.LEFT, drawing, outline, "card", 1.0, (1.0, 1.0))
    (part,) = parts_to_place([template])
    assert part.title == "plate, left"
    assert part.area_mm2 == pytest.approx(200 * 100 - 50 * 40)
    assert part.finished_area_mm2 == pytest.approx(part.area_mm2 - np.pi * 4.0)
    assert part.cut_length_mm == pytest.approx(600 + 180)
    assert part.grain_rad == pytest.approx(np.pi / 2)
