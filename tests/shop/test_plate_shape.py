"""Plates of known curvature are told as a maker bends them."""

from __future__ import annotations

import numpy as np
import pytest

from fitkit.flatten.flat_patch import FlatPatch
from fitkit.flatten.flatten_patch import flatten_patch
from fitkit.geometry.mesh import TriangleMesh
from fitkit.shop.plate_shape import plate_shape
from tests.template.parts import rectangle, vambrace
from tests.truth import solids


def flat_of(mesh: TriangleMesh, **design: object) -> FlatPatch:
    return flatten_patch(solids.patch_of(mesh, material="aluminium 1100-O", **design))


def test_panel_of_a_cylinder_is_rolled_about_its_axis() -> None:
    """Radius 80: at the sheet's middle, nothing along; 95 % of it no tighter."""
    flat = flat_of(solids.cylinder_panel(80.0, 1.5, 160.0, 6.0))
    shape = plate_shape(flat)
    assert shape.kind == "rolled"
    assert shape.across_mm == pytest.approx(80.0, rel=0.01)
    assert shape.along_mm == np.inf
    assert shape.tightest_mm == pytest.approx(80.0, rel=0.02)
    assert shape.ends_mm == pytest.approx((80.0, 80.0), rel=0.02)
    assert abs(shape.axis @ flat.up) == pytest.approx(1.0, abs=1e-4)
    assert shape.size_mm == pytest.approx((160.0, 120.0), rel=0.01)


def test_gap_under_a_straight_edge() -> None:
    """R - sqrt(R^2 - (c/2)^2); R = c^2 / (8 h) + h / 2 gives the radius back (computed)."""
    rise, chord = plate_shape(flat_of(solids.cylinder_panel(80.0, 1.5, 160.0, 6.0))).rise_mm()
    assert chord <= 100.0
    assert chord**2 / (8.0 * rise) + rise / 2.0 == pytest.approx(80.0, rel=0.01)


def test_sleeve_of_a_cone_is_tighter_at_its_narrow_end() -> None:
    """Radii 55 below and 40 above: the bend square to a ruling is the radius over the cosine."""
    flat = vambrace()
    shape = plate_shape(flat)
    slope = np.hypot(200.0, 15.0) / 200.0
    assert shape.kind == "rolled"
    assert shape.axis is not None
    ends = shape.ends_mm if shape.axis @ flat.up > 0 else shape.ends_mm[::-1]
    # The quarters' middles lie an eighth of the way in.
    low, high = 40.0 + 15.0 / 8.0, 55.0 - 15.0 / 8.0
    assert sorted(ends) == pytest.approx(sorted((low * slope, high * slope)), rel=0.03)


def test_cap_of_a_ball_is_a_bowl() -> None:
    shape = plate_shape(flat_of(solids.spherical_cap(100.0, 0.6, 7.0)))
    assert shape.kind == "bowl"
    assert (shape.across_mm, shape.along_mm) == pytest.approx((100.0, 100.0), rel=0.03)


def test_inside_out_cap_is_hollow() -> None:
    cap = solids.spherical_cap(100.0, 0.6, 7.0)
    shape = plate_shape(flat_of(TriangleMesh(cap.vertices, cap.faces[:, ::-1])))
    assert shape.kind == "bowl"
    assert shape.hollow
    assert shape.across_mm == pytest.approx(-100.0, rel=0.03)


def test_saddle_bulges_one_way_and_is_hollow_the_other() -> None:
    """The surface z = c (x^2 - y^2) / 2 has curvatures c and -c at its middle."""
    shape = plate_shape(flat_of(solids.saddle(60.0, 1.0 / 200.0, 6.0)))
    assert shape.kind == "saddle"
    assert sorted((shape.across_mm, shape.along_mm)) == pytest.approx([-200.0, 200.0], rel=0.1)


def test_flat_sheet_is_flat() -> None:
    shape = plate_shape(rectangle())
    assert shape.kind == "flat"
    assert shape.rise_mm() == (0.0, 100.0)
