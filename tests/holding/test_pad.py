"""Pads against closed forms: what lines a tube, clear of holes, and what cannot be lined."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
import shapely

from fitkit.body.side import Side
from fitkit.errors import DesignError
from fitkit.flatten.flat_patch import FlatPatch
from fitkit.flatten.flatten_patch import flatten_patch
from fitkit.geometry.arrays import Floats
from fitkit.holding.pad import lay_pad
from fitkit.holding.pad_design import PadDesign
from fitkit.patch.patch import Patch
from fitkit.template.soft_template import soft_templates
from tests.truth import solids

RADIUS, ANGLE, HEIGHT = 80.0, 1.6, 120.0
DESIGN = PadDesign("left lining", "panel", 6.0)
NONE = np.zeros((0, 3))


@pytest.fixture(scope="module")
def panel() -> tuple[Patch, FlatPatch]:
    """Return a plate of 2 mm on a tube, its middle at the radius, and its blank."""
    mesh = solids.cylinder_panel(RADIUS, ANGLE, HEIGHT, 5.0)
    patch = solids.patch_of(mesh, material="aluminium")
    design = dataclasses.replace(patch.design, name="panel", thickness_mm=2.0, clearance_mm=6.0)
    patch = dataclasses.replace(patch, design=design)
    return patch, flatten_patch(patch)


def rounded(width: float, height: float) -> float:
    """Return the area of a rectangle whose corners are rounded by 6 mm."""
    return width * height - (4.0 - np.pi) * 36.0


def test_pad_is_as_wide_as_the_round_it_lines(panel: tuple[Patch, FlatPatch]) -> None:
    """Amid the pad the radius is R - (2 + 6) / 2; its width that times the angle, less the edges.

    To 0.3 mm: at the border of triangles of 5 mm their normals lean by 2 degrees.
    """
    pad = lay_pad(DESIGN, *panel, NONE)
    (piece,) = pad.pieces
    width, height = (RADIUS - 4.0) * ANGLE - 20.0, HEIGHT - 20.0
    assert np.ptp(piece.outline_mm, axis=0) == pytest.approx([width, height], abs=0.3)
    assert piece.area_mm2() == pytest.approx(rounded(width, height), rel=4e-3)
    assert pad.findings == ()
    assert piece.outline_mm.min() == pytest.approx(0.0, abs=1e-9)


def at_middle(flat: FlatPatch, *places: tuple[float, float]) -> Floats:
    """Return holes of 4 mm, told from the blank's middle."""
    middle = 0.5 * (flat.flat_mm.min(axis=0) + flat.flat_mm.max(axis=0))
    return np.array([[*(middle + place), 4.0] for place in places])


def test_holes_inside_are_punched_and_those_near_the_edge_cut_out(
    panel: tuple[Patch, FlatPatch],
) -> None:
    """Round a 4 mm hole 2 D + 3 = 11 mm are clear; the arc shrinks by (R - 4) / R."""
    flat = panel[1]
    whole = lay_pad(DESIGN, *panel, NONE).pieces[0]
    (piece,) = lay_pad(DESIGN, *panel, at_middle(flat, (20.0, 10.0), (0.0, -50.0))).pieces
    (hole,) = piece.holes_mm
    assert hole[2] == pytest.approx(11.0)
    middle = 0.5 * np.ptp(whole.outline_mm, axis=0)
    assert np.abs(hole[:2] - middle) == pytest.approx(
        [20.0 * (RADIUS - 4.0) / RADIUS, 10.0], abs=0.2
    )
    cut = shapely.Polygon(whole.outline_mm).difference(shapely.Polygon(piece.outline_mm))
    assert cut.area > 0.4 * np.pi * 5.5**2
    # Nothing of the pad lies within 5.5 mm of the hole at the edge, which is 50 mm down.
    at = np.array([middle[0], middle[1] - 50.0])
    assert shapely.Polygon(piece.outline_mm).distance(shapely.Point(at)) > 5.3


def test_holes_in_laps_leave_the_pad_alone(panel: tuple[Patch, FlatPatch]) -> None:
    outside = at_middle(panel[1], (0.0, 0.5 * HEIGHT + 6.0))
    (piece,) = lay_pad(DESIGN, *panel, outside).pieces
    (whole,) = lay_pad(DESIGN, *panel, NONE).pieces
    assert piece.area_mm2() == pytest.approx(whole.area_mm2(), rel=1e-9)


def test_a_row_of_holes_may_part_a_pad_in_two(panel: tuple[Patch, FlatPatch]) -> None:
    row = at_middle(panel[1], *((0.0, float(y)) for y in range(-60, 61, 8)))
    pieces = lay_pad(DESIGN, *panel, row).pieces
    assert [piece.name for piece in pieces] == ["left lining 1", "left lining 2"]


def test_holes_close_together_are_cut_out_as_one(panel: tuple[Patch, FlatPatch]) -> None:
    pair = at_middle(panel[1], (-4.0, 0.0), (4.0, 0.0))
    (piece,) = lay_pad(DESIGN, *panel, pair).pieces
    assert len(piece.holes_mm) == 0
    (opening,) = piece.openings_mm
    assert np.ptp(opening[:, 0]) == pytest.approx(8.0 * (RADIUS - 4.0) / RADIUS + 11.0, abs=0.3)


def test_layers_together_may_be_thicker_than_the_room(panel: tuple[Patch, FlatPatch]) -> None:
    pad = lay_pad(dataclasses.replace(DESIGN, layers=2, thickness_mm=4.0), *panel, NONE)
    (thick,) = pad.findings
    assert (thick.code, thick.number, thick.limit) == ("pad-thick", 8.0, 6.0)
    assert any("cut 2" in line for line in pad.pieces[0].words)


def test_what_is_curved_more_tightly_than_thick_or_all_edge_is_refused() -> None:
    tight = solids.patch_of(solids.cylinder_panel(12.0, 1.5, 60.0, 2.0))
    with pytest.raises(DesignError, match="curved more tightly"):
        lay_pad(dataclasses.replace(DESIGN, thickness_mm=30.0), tight, flatten_patch(tight), NONE)
    with pytest.raises(DesignError, match="Nothing is left"):
        lay_pad(dataclasses.replace(DESIGN, edge_mm=12.0), tight, flatten_patch(tight), NONE)


def test_twin_of_a_pad_is_its_mirror_image_with_words_that_read(
    panel: tuple[Patch, FlatPatch],
) -> None:
    (piece,) = lay_pad(DESIGN, *panel, at_middle(panel[1], (20.0, 10.0))).pieces
    left, right = soft_templates(
        piece, number=9, side=Side.LEFT, paired=True, job_name="Tube", wearer=""
    )
    assert (left.number, right.number) == (9, 10)
    assert (left.name, right.name) == ("left lining", "right lining")
    width = np.ptp(left.outline_mm[:, 0])
    (own,), (twin,) = left.drawing.holes, right.drawing.holes
    assert twin.centre_mm == pytest.approx([width - own.centre_mm[0], own.centre_mm[1]])
    assert any("side to the plate shown" in words.text for words in right.drawing.words)
