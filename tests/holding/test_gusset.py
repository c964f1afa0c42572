"""Soft pieces against closed forms: a gap on a tube, plates that touch, room for the motion."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from fitkit.errors import DesignError
from fitkit.geometry.arrays import Floats
from fitkit.holding.gusset import GapStrip, gap_strip, lay_gusset
from fitkit.holding.gusset_design import GussetDesign
from fitkit.holding.worn_sheet import WornSheet
from fitkit.patch.design import PointAnchor
from tests.truth import solids

RADIUS, HEIGHT = 90.0, 120.0
DESIGN = GussetDesign("side gusset", ("front", "back"), PointAnchor(90.0, 0.0, 60.0))


def strip(gap_deg: float, design: GussetDesign = DESIGN) -> GapStrip:
    """Return the gap on the wearer's left between a front and a back panel of a tube."""
    form = solids.cylinder(RADIUS, HEIGHT, 3.0, False)
    half = np.radians(90.0 - 0.5 * gap_deg)
    panel = solids.cylinder_panel(RADIUS, 2.0 * half, HEIGHT, 3.0)
    behind = panel.with_vertices(panel.vertices * [-1.0, -1.0, 1.0])
    z = np.linspace(0.0, HEIGHT, 30)

    def edge(turn: float) -> Floats:
        x, y = RADIUS * np.sin(turn), -RADIUS * np.cos(turn)
        return np.stack([np.full(30, x), np.full(30, y), z], axis=1)

    sheets = WornSheet("front", False, panel, 1.0), WornSheet("back", False, behind, 1.0)
    edges = edge(half), edge(np.pi - half)[::-1]
    return gap_strip(design, sheets, edges, form, np.array([RADIUS, 0.0, 0.5 * HEIGHT]))


def test_at_rest_it_is_the_development_of_the_gap_with_what_lies_under() -> None:
    """On a tube: R times the gap's angle, 25 mm under each plate, 10 mm of seam all round."""
    gap = strip(40.0)
    width = RADIUS * np.radians(40.0)
    assert gap.widths_mm() == pytest.approx(width, abs=0.3)
    piece = lay_gusset(DESIGN, gap, None)
    size = np.ptp(piece.outline_mm, axis=0)
    assert size == pytest.approx([width + 50.0 + 20.0, HEIGHT + 20.0], abs=1.0)
    first, last, seam = piece.lines
    assert (first[0], last[0], seam[0]) == ("edge of 'front'", "edge of 'back'", "seam")
    assert abs(first[1][:, 0].mean() - last[1][:, 0].mean()) == pytest.approx(width, abs=0.5)
    # Seen from outside on the wearer's left the front lies to the left.
    assert first[1][:, 0].mean() < last[1][:, 0].mean()
    assert np.ptp(seam[1], axis=0) == pytest.approx([width + 50.0, HEIGHT], abs=1.0)
    assert piece.shown == "up"


def test_motion_puts_its_fullness_between_the_plates() -> None:
    gap = strip(40.0)
    still = lay_gusset(DESIGN, gap, None)
    rest = gap.widths_mm()
    moving = lay_gusset(DESIGN, gap, rest + 30.0)
    grown = np.ptp(moving.outline_mm[:, 0]) - np.ptp(still.outline_mm[:, 0])
    assert grown == pytest.approx(30.0, abs=0.3)
    assert any("30 mm of fullness" in line for line in moving.words)
    narrower = lay_gusset(DESIGN, gap, rest - 20.0)
    assert narrower.outline_mm == pytest.approx(still.outline_mm)


def test_fullness_at_one_end_only_widens_that_end() -> None:
    gap = strip(40.0)
    swept = gap.widths_mm() + np.where(gap.rows_mm[:, 0, 2] > 80.0, 24.0, 0.0)
    piece = lay_gusset(DESIGN, gap, swept)
    seam = piece.lines[2][1]
    level = seam[:, 1] - seam[:, 1].min()
    top, bottom = seam[level > HEIGHT - 10.0], seam[level < 10.0]
    assert np.ptp(top[:, 0]) - np.ptp(bottom[:, 0]) == pytest.approx(24.0, abs=0.5)


def test_plates_that_touch_get_a_band_under_both() -> None:
    gap = strip(0.0)
    assert gap.widths_mm().max() < 0.5
    piece = lay_gusset(DESIGN, gap, None)
    assert np.ptp(piece.outline_mm, axis=0) == pytest.approx([70.0, HEIGHT + 20.0], abs=1.0)


def test_edges_out_of_reach_have_no_gap() -> None:
    with pytest.raises(DesignError, match="within 30 mm of each other"):
        strip(40.0, dataclasses.replace(DESIGN, reach_mm=30.0))
