"""What a drawing covers: filled areas have to stay readable, as words have to."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from fitkit.drawing.drawing import Drawing, Fill, Layer, Stroke
from fitkit.drawing.page_furniture import check_square
from fitkit.drawing.part_content import PartContent

RING = np.array([[0.0, 0.0], [200.0, 0.0], [200.0, 200.0], [0.0, 200.0]])
TAG = np.array([[50.4, 40.0], [66.4, 40.0], [66.4, 56.0], [50.4, 56.0]])
PART = Drawing("plate", strokes=(Stroke(RING, Layer.CUT, True),), fills=(Fill(TAG),))


def test_a_filled_tag_is_kept_readable() -> None:
    assert PartContent(PART).words.area == pytest.approx(16.0 * 16.0)


def test_a_check_square_is_broken_beside_a_tag() -> None:
    square = check_square(np.array([50.0, 20.0]), beside=PartContent(PART).words)
    drawn = shapely.union_all([shapely.LineString(one.points_mm) for one in square.strokes])
    assert drawn.distance(shapely.Polygon(TAG)) > 1.9
    assert drawn.distance(shapely.Point(50.0, 30.0)) == pytest.approx(0.0, abs=1e-9)
