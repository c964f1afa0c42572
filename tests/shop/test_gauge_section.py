"""Gauges cut from plates whose sections are known."""

from __future__ import annotations

import numpy as np
import pytest

from fitkit.flatten.flatten_patch import flatten_patch
from fitkit.shop.gauge_section import GaugeSection, gauge_sections
from tests.template.parts import rectangle, vambrace
from tests.truth import solids


def test_panel_of_a_cylinder_has_an_arc_across_and_a_straight_upright() -> None:
    """Radius 80 over 1.5 rad: chord 2 R sin(0.75), rise R (1 - cos 0.75)."""
    mesh = solids.cylinder_panel(80.0, 1.5, 160.0, 6.0)
    across, upright = gauge_sections(flatten_patch(solids.patch_of(mesh)))
    assert across.chord_mm == pytest.approx(160.0 * np.sin(0.75), abs=0.2)
    assert across.rise_mm == pytest.approx(80.0 * (1.0 - np.cos(0.75)), abs=0.2)
    assert upright.chord_mm == pytest.approx(160.0, abs=0.1)
    assert abs(upright.rise_mm) < 0.1
    assert across.in_words() == "across: chord 109, rise 21 mm"


def test_sleeve_goes_round_and_is_told_by_width_and_depth() -> None:
    """Halfway up a frustum of radii 40 and 55 the girth's width is 95 mm."""
    across, upright = gauge_sections(vambrace())
    assert across.goes_round
    assert across.chord_mm == pytest.approx(95.0, abs=1.0)
    assert across.rise_mm == pytest.approx(95.0, abs=1.0)
    assert not upright.goes_round
    assert abs(upright.rise_mm) < 0.2


def test_cap_that_lies_level_is_cut_twice_upright() -> None:
    """R 100, half angle 0.6: rise 100 (1 - cos 0.6) both ways."""
    cap = solids.spherical_cap(100.0, 0.6, 7.0)
    for section in gauge_sections(flatten_patch(solids.patch_of(cap, lines=("rim",)))):
        assert section.rise_mm == pytest.approx(100.0 * (1.0 - np.cos(0.6)), abs=0.5)
        assert section.chord_mm == pytest.approx(200.0 * np.sin(0.6), abs=1.0)


def test_a_section_that_sinks_is_told_as_hollow() -> None:
    points = np.array([[0.0, 0.0], [30.0, -11.2], [60.0, 0.0]])
    section = GaugeSection("upright", points, -11.2)
    assert section.in_words() == "upright: chord 60, hollow 11 mm"


def test_flat_plate_has_no_rise() -> None:
    for section in gauge_sections(rectangle()):
        assert section.rise_mm == pytest.approx(0.0, abs=1e-6)
