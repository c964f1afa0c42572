"""Anchors on solids whose surface is known."""

from __future__ import annotations

from math import pi, radians

import numpy as np
import pytest

from fitkit.body.body import Body, Landmark, SegmentAxis
from fitkit.errors import DesignError
from fitkit.geometry.mesh import TriangleMesh
from fitkit.patch.anchor import describe_anchor, place_anchor
from fitkit.patch.design import (
    AxisAnchor,
    BetweenAnchor,
    HeightAnchor,
    LandmarkAnchor,
    LevelLine,
    PointAnchor,
)
from fitkit.patch.form import Form
from fitkit.patch.tape_line import lay_tape_line
from tests.patch.upright import cylinder_form, form_of, polygon_radius_mm, sphere_form
from tests.truth.solids import cylinder

CYLINDER = cylinder_form()


@pytest.mark.parametrize("bearing", [0.0, 0.4, pi / 2, 2.6, pi, -1.3])
def test_height_anchor_lies_at_its_height_and_bearing(bearing: float) -> None:
    """Bearing 0 is the front (-y), a quarter turn the wearer's left (+x)."""
    at = place_anchor(CYLINDER, HeightAnchor(123.4, bearing))
    radius = polygon_radius_mm(CYLINDER.mesh, bearing)
    expected = [radius * np.sin(bearing), -radius * np.cos(bearing), 123.4]
    assert at.point_mm == pytest.approx(expected, abs=1e-9)


def test_axis_anchor_on_the_trunk_is_a_height_anchor() -> None:
    """The trunk's axis runs from the top down: along 0.25 is a quarter of the way down."""
    by_axis = place_anchor(CYLINDER, AxisAnchor("trunk", 0.25, 0.7))
    by_height = place_anchor(CYLINDER, HeightAnchor(300.0, 0.7))
    assert by_axis.point_mm == pytest.approx(by_height.point_mm, abs=1e-9)


def trunk_and_arm(gap_mm: float) -> Form:
    """Two upright cylinders, an arm of radius 30 at the left of a trunk of radius 100."""
    trunk = cylinder(100, 400, 15)
    arm = cylinder(30, 300, 15)
    shift = np.array([130.0 + gap_mm, 0, 50])
    mesh = TriangleMesh(
        np.vstack([trunk.vertices, arm.vertices + shift]),
        np.vstack([trunk.faces, arm.faces + len(trunk.vertices)]),
    )
    axes = {
        "trunk": SegmentAxis("trunk", np.array([0, 0, 400.0]), np.zeros(3)),
        "left arm": SegmentAxis("left arm", shift + np.array([0, 0, 300.0]), shift),
    }
    return Form(mesh, 0.0, Body(mesh, np.zeros(len(mesh.vertices)), axes))


def test_anchor_beside_an_arm_is_on_the_trunk() -> None:
    """The ray goes on through the arm; the first place where it leaves the form counts."""
    form = trunk_and_arm(20.0)
    at = place_anchor(form, HeightAnchor(200.0, pi / 2))
    assert at.point_mm[0] == pytest.approx(polygon_radius_mm(cylinder(100, 400, 15), pi / 2))
    on_arm = place_anchor(form, AxisAnchor("left arm", 0.5, pi / 2))
    assert on_arm.point_mm[0] > 170
    inner = place_anchor(form, AxisAnchor("left arm", 0.5, -pi / 2))
    assert 115 < inner.point_mm[0] < 125


def test_arm_anchor_that_runs_through_the_trunk_is_refused() -> None:
    form = cylinder_form()
    arm = SegmentAxis("left arm", np.array([80, 0, 300.0]), np.array([80, 0, 100.0]))
    body = Body(form.mesh, form.body.trust_mm, {**form.body.axes, "left arm": arm})
    with pytest.raises(DesignError, match="points into the trunk") as caught:
        place_anchor(Form(form.mesh, 0.0, body), AxisAnchor("left arm", 0.5, -pi / 2))
    assert "0.5 along the left arm, bearing -90 degrees" in caught.value.cause


def test_the_inside_of_a_leg_is_not_the_trunk_for_all_that_its_axis_goes_down_to_the_floor() -> (
    None
):
    """A knee's inside lies nearer to the middle of the body than to the middle of the leg."""
    leg = cylinder(30, 300, 15)
    mesh = TriangleMesh(leg.vertices + np.array([50.0, 0, 0]), leg.faces)
    axes = {
        "trunk": SegmentAxis("trunk", np.array([0, 0, 400.0]), np.zeros(3)),
        "left thigh": SegmentAxis("left thigh", np.array([50.0, 0, 300]), np.array([50.0, 0, 0])),
    }
    anchor = AxisAnchor("left thigh", 0.5, -pi / 2)
    body = Body(mesh, np.zeros(len(mesh.vertices)), axes)
    with pytest.raises(DesignError, match="points into the trunk"):
        place_anchor(Form(mesh, 0.0, body), anchor)
    crotch = Landmark("crotch", np.array([0.0, 0, 310]))
    parted = Body(mesh, body.trust_mm, axes, {"crotch": crotch})
    at = place_anchor(Form(mesh, 0.0, parted), anchor)
    assert at.point_mm[0] == pytest.approx(20.0, abs=1.0)


def test_landmark_and_point_go_to_the_nearest_place() -> None:
    form = form_of(sphere_form(200).mesh, nose=(0.0, -230.0, 0.0))
    at = place_anchor(form, LandmarkAnchor("nose"))
    assert np.linalg.norm(at.point_mm - [0, -200, 0]) < 5
    point = place_anchor(form, PointAnchor(300, 400, 0))
    assert point.point_mm == pytest.approx([120, 160, 0], abs=6)
    assert np.linalg.norm(point.point_mm) == pytest.approx(200, abs=0.5)


@pytest.mark.parametrize(
    ("anchor", "cause"),
    [
        (HeightAnchor(450.0, 0.0), "height 450.0 mm, bearing 0 degrees is outside the trunk"),
        (HeightAnchor(-1.0, radians(30)), "bearing 30 degrees is outside the trunk"),
        (AxisAnchor("trunk", 1.2, 0.0), "beyond the ends of the trunk"),
        (AxisAnchor("tail", 0.5, 0.0), "no part called 'tail'"),
        (LandmarkAnchor("nose"), "no landmark called 'nose'"),
        (PointAnchor(float("nan"), 0.0, 0.0), "not finite"),
    ],
)
def test_anchor_that_cannot_be_placed_is_named(
    anchor: HeightAnchor | AxisAnchor | LandmarkAnchor | PointAnchor, cause: str
) -> None:
    with pytest.raises(DesignError, match=cause) as caught:
        place_anchor(CYLINDER, anchor)
    assert caught.value.remedy


def test_axis_outside_the_form_is_refused() -> None:
    form = form_of(CYLINDER.mesh.with_vertices(CYLINDER.mesh.vertices + np.array([0, 150.0, 0])))
    for bearing in (0.0, pi):  # away from the form, and towards it
        with pytest.raises(DesignError, match="outside the form"):
            place_anchor(form, HeightAnchor(200.0, bearing))


def test_a_height_between_landmarks_goes_with_the_body() -> None:
    """A third of the way from the waist (z = 140) to the chest (z = 290) is z = 190."""
    form = form_of(cylinder(100, 400, 12), waist=(0, -100, 140), chest=(100, 0, 290))
    anchor = BetweenAnchor(("waist", "chest"), 1 / 3, 0.5 * pi)
    point = place_anchor(form, anchor).point_mm
    assert point[2] == pytest.approx(190)
    assert point[0] == pytest.approx(100, abs=1)
    assert "0.333 of the way from 'waist' to 'chest'" in describe_anchor(anchor)
    level = lay_tape_line(form, LevelLine("belt", between=("waist", "chest"), part=1 / 3))
    assert level.path.points_mm[:, 2] == pytest.approx(190)
    with pytest.raises(DesignError, match="no landmark called 'hip'"):
        place_anchor(form, BetweenAnchor(("hip", "chest"), 0.5, 0.0))
