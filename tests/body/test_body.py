"""Axes and names of the body."""

from __future__ import annotations

import numpy as np
import pytest

from fitkit.body.body import Body, Landmark, SegmentAxis
from fitkit.body.side import Side
from fitkit.errors import DesignError
from fitkit.geometry.mesh import TriangleMesh

TRUNK = SegmentAxis("trunk", np.array([0.0, 0, 1500]), np.array([0.0, 0, 800]))


@pytest.mark.parametrize(
    ("degrees", "direction"),
    [(0, [0, -1, 0]), (90, [1, 0, 0]), (180, [0, 1, 0]), (270, [-1, 0, 0])],
)
def test_bearings_run_from_the_front_over_the_wearers_left(
    degrees: float, direction: list[float]
) -> None:
    np.testing.assert_allclose(TRUNK.bearing(np.radians(degrees)), direction, atol=1e-12)


def test_bearings_round_a_tilted_limb_are_square_to_it() -> None:
    arm = SegmentAxis("left arm", np.array([180.0, 0, 1400]), np.array([290.0, 20, 1120]))
    for bearing in np.linspace(0, 6, 7):
        assert arm.bearing(bearing) @ arm.direction == pytest.approx(0.0, abs=1e-12)
    assert arm.bearing(0.0)[1] < -0.99


def test_points_along_an_axis_run_from_start_to_end() -> None:
    np.testing.assert_allclose(TRUNK.point_at_mm(0.25), [0, 0, 1325])
    assert TRUNK.length_mm == 700.0


def test_a_missing_part_or_landmark_is_answered_with_those_there_are() -> None:
    mesh = TriangleMesh(np.eye(3), np.array([[0, 1, 2]]))
    body = Body(
        mesh, np.zeros(3), {"trunk": TRUNK}, {"left armpit": Landmark("left armpit", np.zeros(3))}
    )
    assert body.axis("trunk") is TRUNK
    with pytest.raises(DesignError, match="trunk"):
        body.axis("tail")
    with pytest.raises(DesignError, match="left armpit"):
        body.landmark("third elbow")


def test_mirroring_swaps_the_wearers_sides() -> None:
    assert [s.other for s in (Side.LEFT, Side.RIGHT, Side.CENTRE)] == [
        Side.RIGHT,
        Side.LEFT,
        Side.CENTRE,
    ]
