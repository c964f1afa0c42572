"""Bends and edges against handbook examples."""

from __future__ import annotations

import math

import pytest

from fitkit.errors import InputError
from fitkit.materials.bend import (
    bend_allowance_mm,
    bend_deduction_mm,
    din_6935_deduction_mm,
    din_6935_factor,
    hem_allowance_mm,
    rolled_edge_allowance_mm,
    setback_mm,
    wired_edge_allowance_mm,
)

_INCH = 25.4


@pytest.mark.parametrize(("turned", "inches"), [(45.0, 0.130), (135.0, 0.758)])
def test_setback_as_in_ac_43_13_1b_figure_4_3(turned: float, inches: float) -> None:
    got = setback_mm(math.radians(turned), 0.25 * _INCH, 0.064 * _INCH) / _INCH
    assert got == pytest.approx(inches, abs=0.0005)


def test_channel_of_the_faa_handbook() -> None:
    """FAA-H-8083-31: t 0.040, R 0.16, legs 1, 2, 1 in: setback 0.2, total by its own formula."""
    t, r = 0.040 * _INCH, 0.16 * _INCH
    assert setback_mm(math.pi / 2, r, t) / _INCH == pytest.approx(0.2)
    allowance = bend_allowance_mm(math.pi / 2, r, t, 0.5) / _INCH
    assert allowance == pytest.approx(0.2827, abs=5e-5)
    assert 0.8 + 1.6 + 0.8 + 2 * allowance == pytest.approx(3.7655, abs=1e-4)


def test_example_of_the_metal_trades_table_book_for_din_6935() -> None:
    """Tabellenbuch Metall: opening 60°, a 16, b 21, r 6, s 5, k 0.7 off the chart."""
    v = din_6935_deduction_mm(math.radians(60), 6, 5, 0.7)
    assert v == pytest.approx(5.768, abs=1e-3)
    assert 16 + 21 - v == pytest.approx(31.232, abs=1e-3)
    assert din_6935_factor(6, 5) == pytest.approx(0.6896, abs=1e-4)


@pytest.mark.parametrize(
    ("opening", "r", "s", "v"), [(90, 2, 1, 2.2297), (120, 3, 1.5, 1.4258), (60, 3, 1.5, 1.4594)]
)
def test_din_6935_worked_by_its_formula(opening: float, r: float, s: float, v: float) -> None:
    assert din_6935_deduction_mm(math.radians(opening), r, s) == pytest.approx(v, abs=1e-4)


def test_k_factor_example() -> None:
    """Thickness 1, R 1.5, K 0.42, two legs of 50 at a right angle: flat 98.0159 (computed)."""
    deduction = bend_deduction_mm(math.pi / 2, 1.5, 1.0, 0.42)
    assert 100 - deduction == pytest.approx(98.0159, abs=1e-4)
    other = bend_deduction_mm(math.radians(60), 2.0, 1.5, 0.33)
    assert other == pytest.approx(1.4287, abs=1e-4)


def test_hems_wires_and_beads() -> None:
    """Navy steelworker manual: hem W, double 2 W, wire 2.5 d."""
    assert hem_allowance_mm(6) == 6
    assert hem_allowance_mm(6, double=True) == 12
    assert wired_edge_allowance_mm(3.0, 0.0) == pytest.approx(7.5)
    assert wired_edge_allowance_mm(_INCH / 8, 0.0) == pytest.approx(5 / 16 * _INCH)
    assert rolled_edge_allowance_mm(3.0, 1.0) == pytest.approx(9.42, abs=0.005)
    assert wired_edge_allowance_mm(3.0, 1.0) == pytest.approx(9.42, abs=0.005)


def test_flat_sheet_takes_nothing() -> None:
    assert bend_allowance_mm(0.0, 2.0, 1.0) == 0
    assert bend_deduction_mm(0.0, 2.0, 1.0) == 0
    assert din_6935_deduction_mm(math.pi, 2.0, 1.0) == 0


@pytest.mark.parametrize("angle", [-0.1, 4.0])
def test_impossible_angles_are_refused(angle: float) -> None:
    with pytest.raises(InputError):
        bend_allowance_mm(angle, 1.0, 1.0)
    with pytest.raises(InputError):
        din_6935_deduction_mm(angle, 1.0, 1.0)
    with pytest.raises(InputError):
        setback_mm(math.pi, 1.0, 1.0)
