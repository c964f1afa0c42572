from __future__ import annotations

from math import pi, radians

import numpy as np
import pytest

from fitkit.body.body import Body, Landmark, SegmentAxis
from fitkit.errors import DesignError
from fitkit.geometry.mesh import TriangleMesh
from fitkit.patch.design import HeightAnchor, LinedPlace, Padding, RangePlace, RoundPlace
from fitkit.patch.padding import padding_mm, run_out
from tests.truth import solids

DRUM = solids.cylinder(100, 400, 10)
LOW, HIGH = DRUM.bounds_mm()[:, 2]
BODY = Body(
    DRUM,
    np.zeros(len(DRUM.vertices)),
    {"trunk": SegmentAxis("trunk", np.array([0.0, 0, HIGH]), np.array([0.0, 0, LOW]))},
    {
        "front waist": Landmark("front waist", np.array([0.0, -100, LOW + 100])),
        "front chest": Landmark("front chest", np.array([0.0, -100, LOW + 250])),
    },
)
WALL = np.hypot(*DRUM.vertices[:, :2].T) > 99
HEIGHT = DRUM.vertices[:, 2] - LOW


def test_a_pad_between_landmarks_is_as_thick_as_told_and_runs_out() -> None:
    pad = Padding("vest", 9.0, RangePlace("trunk", "front waist", "front chest"), runout_mm=30)
    raised = padding_mm(BODY, [pad])
    within = (HEIGHT >= 100) & (HEIGHT <= 250)
    assert raised[within] == pytest.approx(9.0)
    assert (raised[(HEIGHT < 69) | (HEIGHT > 281)] == 0).all()
    slope = WALL & (HEIGHT > 250) & (HEIGHT < 280)
    expected = 9.0 * run_out(HEIGHT[slope] - 250, 30)
    assert raised[slope] == pytest.approx(expected)


def test_bearings_narrow_a_pad() -> None:
    """From the right front (330 degrees) over the front to the left front (30 degrees)."""
    place = RangePlace("trunk", 0.0, 1.0, (radians(330), radians(30)))
    raised = padding_mm(BODY, [Padding("breast", 5.0, place, runout_mm=10)])
    bearing = np.degrees(np.arctan2(DRUM.vertices[:, 0], -DRUM.vertices[:, 1]))
    assert raised[WALL & (np.abs(bearing) < 29.9)] == pytest.approx(5.0)
    # 10 mm round a radius of 100 mm is 5.7 degrees
    assert (raised[WALL & (np.abs(bearing) > 35.8)] == 0).all()


def test_a_round_pad_lies_within_its_radius_and_pads_add_up() -> None:
    knob = Padding("knob", 4.0, RoundPlace(HeightAnchor(LOW + 200, 0.5 * pi), 40.0), runout_mm=20)
    everywhere = Padding("shirt", 2.0, RangePlace("trunk", 0.0, 1.0))
    raised = padding_mm(BODY, [knob, everywhere])
    reach = np.linalg.norm(DRUM.vertices - [100, 0, LOW + 200], axis=1)
    assert raised[reach < 39] == pytest.approx(6.0)
    assert raised[reach > 61] == pytest.approx(2.0)


def test_a_pad_in_a_region_of_lines_is_found_by_its_region() -> None:
    """Straight distance from the region stands for the way over the surface beside it."""
    top = DRUM.faces_only(DRUM.corners[:, :, 2].min(axis=1) > LOW + 290)[0]

    def region(place: LinedPlace) -> TriangleMesh:
        assert place.lines == ("ring",)
        return top

    pad = Padding("cap", 3.0, LinedPlace(("ring",), HeightAnchor(LOW + 350, 0.0)), runout_mm=20)
    raised = padding_mm(BODY, [pad], region_on_body=region)
    assert raised[HEIGHT > 300] == pytest.approx(3.0)
    assert (raised[HEIGHT < 265] == 0).all()


def test_a_pad_off_the_body_is_refused_by_name() -> None:
    nowhere = Padding("hat", 3.0, RoundPlace(HeightAnchor(LOW + 200, 0.0), 0.001), runout_mm=0.001)
    with pytest.raises(DesignError, match="'hat' lies nowhere"):
        padding_mm(BODY, [nowhere])
    with pytest.raises(DesignError, match=r"In the padding 'knee'.*left leg"):
        padding_mm(BODY, [Padding("knee", 3.0, RangePlace("left leg", 0.2, 0.4))])
