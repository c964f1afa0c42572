"""Tape lines on solids whose rounds are known."""

from __future__ import annotations

from math import pi, radians

import numpy as np
import pytest

from fitkit.body.body import Body, SegmentAxis
from fitkit.errors import DesignError
from fitkit.patch.design import (
    AxisAnchor,
    GeodesicLine,
    HeightAnchor,
    LandmarkAnchor,
    LevelLine,
    SymmetryLine,
    TapeLineDesign,
    ThroughLine,
)
from fitkit.patch.form import Form
from fitkit.patch.tape_line import lay_tape_line
from tests.patch.test_anchor import trunk_and_arm
from tests.patch.upright import cylinder_form, form_of
from tests.truth.solids import sphere, torus

CYLINDER = cylinder_form()
SIDES = 52  # 2 pi 100 mm in steps of about 12 mm


def polygon_round_mm(radius: float, sides: int) -> float:
    return 2 * sides * radius * np.sin(pi / sides)


def test_level_line_on_a_cylinder_is_its_girth() -> None:
    """2 pi R; on the mesh the perimeter of the polygon, 2 n R sin(pi / n), exact."""
    path = lay_tape_line(CYLINDER, LevelLine("waist", height_mm=187.3)).path
    assert path.closed
    assert path.length_mm() == pytest.approx(polygon_round_mm(100, SIDES), rel=1e-12)
    assert path.length_mm() == pytest.approx(2 * pi * 100, rel=1e-3)
    assert path.points_mm[:, 2] == pytest.approx(187.3, abs=1e-9)


def test_tilted_level_line_goes_down_at_the_front() -> None:
    """Its shape is an ellipse; front and back are R tan(tilt) below and above the middle."""
    tilt = radians(10)
    path = lay_tape_line(CYLINDER, LevelLine("belt", height_mm=200, tilt_rad=tilt)).path
    points = path.points_mm
    assert points[:, 2] - 200 == pytest.approx(points[:, 1] * np.tan(tilt), abs=1e-9)
    assert points[points[:, 1].argmin(), 2] < 200 - 0.98 * 100 * np.tan(tilt)
    flat = 2 * pi * 100
    assert flat < path.length_mm() < flat / np.cos(tilt)


def test_level_line_leaves_the_arm_out() -> None:
    form = trunk_and_arm(20.0)
    trunk = lay_tape_line(form, LevelLine("waist", height_mm=200)).path
    assert trunk.points_mm[:, 0].max() < 101
    arm = lay_tape_line(form, LevelLine("bicep", axis="left arm", along=0.5)).path
    assert arm.points_mm[:, 0].min() > 115
    assert arm.length_mm() == pytest.approx(2 * pi * 30, rel=0.02)


def test_arm_round_that_takes_in_the_trunk_is_refused() -> None:
    arm = SegmentAxis("left arm", np.array([80, 0, 300.0]), np.array([80, 0, 100.0]))
    body = Body(CYLINDER.mesh, CYLINDER.body.trust_mm, {**CYLINDER.body.axes, "left arm": arm})
    with pytest.raises(DesignError, match="goes round the trunk as well as the left arm"):
        lay_tape_line(Form(CYLINDER.mesh, 0, body), LevelLine("cuff", axis="left arm", along=0.5))


def test_symmetry_line_is_the_middle_section() -> None:
    """On a cylinder twice height plus diameter; the section holds x = 0."""
    path = lay_tape_line(CYLINDER, SymmetryLine("middle")).path
    assert path.closed
    assert path.points_mm[:, 0] == pytest.approx(0, abs=1e-9)
    assert path.length_mm() == pytest.approx(2 * 400 + 4 * 100, rel=1e-3)


def test_geodesic_line_runs_leg_by_leg_through_its_anchors() -> None:
    """Unrolled: each leg sqrt(arc^2 + rise^2), arc R times the turn to the mesh's 0.1 %."""
    design = GeodesicLine(
        "side", (HeightAnchor(50, 0.2), HeightAnchor(200, 0.9), HeightAnchor(350, 0.1))
    )
    path = lay_tape_line(CYLINDER, design).path
    legs = np.hypot(70, 150) + np.hypot(80, 150)
    assert not path.closed
    assert path.length_mm() == pytest.approx(legs, rel=1e-3)


def test_closed_geodesic_line_comes_back() -> None:
    anchors = tuple(HeightAnchor(200.0, turn) for turn in (0.0, 2.0, 4.0))
    path = lay_tape_line(CYLINDER, GeodesicLine("round", anchors, closed=True)).path
    assert path.closed
    assert path.length_mm() == pytest.approx(polygon_round_mm(100, SIDES), rel=1e-9)


def test_through_line_is_smooth_where_the_geodesic_line_has_a_corner() -> None:
    anchors = (HeightAnchor(100, 0.0), HeightAnchor(300, 0.8), HeightAnchor(100, 1.6))
    sharp = lay_tape_line(CYLINDER, GeodesicLine("sharp", anchors)).path
    smooth = lay_tape_line(CYLINDER, ThroughLine("smooth", anchors)).path
    assert sharp.points_mm[:, 2].max() == pytest.approx(300, abs=1e-4)
    assert smooth.length_mm() > sharp.length_mm()
    # Within 1 mm of the top the shortest legs, 200 mm up in 80 mm, spread over 0.8 mm only.
    top = smooth.points_mm[smooth.points_mm[:, 2] > 299]
    assert np.ptp(np.arctan2(top[:, 0], -top[:, 1])) > 0.05


def test_lines_stay_with_a_surface_that_is_moved() -> None:
    """A turn about the vertical moves a level line and its length not at all."""
    mesh = sphere(150, 15)
    angle = 0.3
    turn = np.array(
        [[np.cos(angle), -np.sin(angle), 0], [np.sin(angle), np.cos(angle), 0], [0, 0, 1]]
    )
    design = LevelLine("level", height_mm=40.0, tilt_rad=0.0)
    here = lay_tape_line(form_of(mesh), design).path
    there = lay_tape_line(form_of(mesh.with_vertices(mesh.vertices @ turn.T)), design).path
    assert there.length_mm() == pytest.approx(here.length_mm(), rel=1e-9)


@pytest.mark.parametrize(
    ("design", "cause"),
    [
        (LevelLine("waist"), "needs either a height or a place"),
        (LevelLine("waist", height_mm=10.0, along=0.5), "needs either a height or a place"),
        (LevelLine("waist", height_mm=900.0), "'waist' is outside the trunk"),
        (LevelLine("waist", along=1.5), "at 1.5 along the trunk"),
        (LevelLine("cuff", axis="left arm", along=0.5), "no part called 'left arm'"),
        (GeodesicLine("side", (HeightAnchor(100, 0),)), "'side' has 1 anchors and needs 2"),
        (
            ThroughLine("hole", (HeightAnchor(100, 0), HeightAnchor(120, 0)), closed=True),
            "'hole' has 2 anchors and needs 3",
        ),
        (
            GeodesicLine("side", (HeightAnchor(100, 0), HeightAnchor(100, 2 * pi))),
            "'side' has two anchors at one place",
        ),
        (
            GeodesicLine("side", (HeightAnchor(100, 0), LandmarkAnchor("nose"))),
            "On the line 'side': This body has no landmark called 'nose'",
        ),
    ],
)
def test_line_that_cannot_be_laid_is_named(design: TapeLineDesign, cause: str) -> None:
    with pytest.raises(DesignError, match=cause) as caught:
        lay_tape_line(CYLINDER, design)
    assert caught.value.remedy


def test_level_line_where_the_axis_is_outside_is_refused() -> None:
    form = form_of(torus(100, 30, 15))
    with pytest.raises(DesignError, match="outside the form"):
        lay_tape_line(form, GeodesicLine("x", (HeightAnchor(0, 0), HeightAnchor(0, 1))))
    side = SegmentAxis("trunk", np.array([300, 0, 30.0]), np.array([300, 0, -30.0]))
    aside = Form(form.mesh, 0, Body(form.mesh, form.body.trust_mm, {"trunk": side}))
    with pytest.raises(DesignError, match="no round about the trunk"):
        lay_tape_line(aside, LevelLine("waist", height_mm=0.0))


def test_symmetry_line_needs_a_closed_round_in_the_middle() -> None:
    aside = form_of(sphere(50, 15).with_vertices(sphere(50, 15).vertices + np.array([200.0, 0, 0])))
    with pytest.raises(DesignError, match="no closed round in the middle plane"):
        lay_tape_line(aside, SymmetryLine("middle"))


def test_line_between_separate_pieces_is_refused() -> None:
    design = GeodesicLine("jump", (HeightAnchor(200, 0), AxisAnchor("left arm", 0.5, 0)))
    with pytest.raises(DesignError, match=r"'jump' cannot be laid.*separate pieces"):
        lay_tape_line(trunk_and_arm(20.0), design)
