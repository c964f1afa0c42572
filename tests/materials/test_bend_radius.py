"""Least bend radii against the published tables."""

from __future__ import annotations

import pytest

from fitkit.errors import InputError
from fitkit.materials.bend_radius import least_bend_radius, outer_fibre_strain
from fitkit.materials.sheet_material import sheet_materials

_INCH = 25.4


@pytest.mark.parametrize(
    ("material", "inches", "times"),
    [
        ("aluminium 1100-O", 1 / 16, 0.0),
        ("aluminium 3003-H14", 1 / 16, 0.0),
        ("aluminium 3003-H14", 1 / 8, 1.0),
        ("aluminium 5052-H32", 1 / 32, 0.0),
        ("aluminium 5052-H32", 1 / 16, 1.0),
        ("aluminium 5052-O", 1 / 8, 0.5),
        ("aluminium 6061-T6", 1 / 64, 1.0),
        ("aluminium 6061-T6", 1 / 16, 1.5),
        ("aluminium 6061-T6", 1 / 8, 2.5),
    ],
)
def test_columns_of_the_aluminum_association_table(
    material: str, inches: float, times: float
) -> None:
    """Aluminum Association bend table, January 2005 copy, and a design-book page (6061): seen."""
    least = least_bend_radius(material, inches * _INCH)
    assert least is not None
    assert least.radius_mm == pytest.approx(times * inches * _INCH)
    assert least.confidence == "seen"


@pytest.mark.parametrize(
    ("material", "inches", "low", "high"),
    [
        ("aluminium 5052-O", 0.064, 0.0, 1.0),
        ("aluminium 5052-H32", 0.064, 0.5, 1.0),
        ("aluminium 5052-H32", 0.128, 0.5, 1.5),
        ("aluminium 6061-O", 0.064, 0.0, 1.0),
        ("aluminium 6061-T4", 0.064, 0.5, 1.5),
        ("aluminium 6061-T6", 0.032, 0.5, 1.5),
        ("aluminium 6061-T6", 0.064, 1.0, 2.0),
    ],
)
def test_lies_in_the_range_of_ac_43_13_1b_table_4_6(
    material: str, inches: float, low: float, high: float
) -> None:
    """Table 4-6 gives ranges in thicknesses: seen. Its gauges fall just above a column's."""
    least = least_bend_radius(material, inches * _INCH - 0.05)
    assert least is not None
    assert low <= least.radius_mm / (inches * _INCH - 0.05) <= high


def test_between_two_columns_the_thicker_holds() -> None:
    least = least_bend_radius("aluminium 5052-H32", 1.0)
    assert least is not None
    assert least.radius_mm == pytest.approx(1.0)


def test_an_alloy_not_known_takes_the_worst() -> None:
    least = least_bend_radius("aluminium", 1.0)
    assert least is not None
    assert least.temper == "aluminium 6061-T6"
    assert least.radius_mm == pytest.approx(1.5)


def test_every_metal_of_the_sheets_has_a_row_and_nothing_else() -> None:
    for material in sheet_materials():
        least = least_bend_radius(material.name, 1.0)
        assert (least is not None) == (material.pass_limit is not None)


def test_sheet_beyond_the_table_is_refused() -> None:
    with pytest.raises(InputError, match=r"ends at 6\.35 mm"):
        least_bend_radius("aluminium 5052-O", 8.0)


@pytest.mark.parametrize(
    ("ratio", "strain"),
    [(0.5, 0.5), (1.0, 0.333), (1.5, 0.25), (2.0, 0.2), (3.0, 0.143), (4.0, 0.111)],
)
def test_outer_fibre_strain_by_its_formula(ratio: float, strain: float) -> None:
    """1 / (2 R/t + 1), neutral line in the middle: computed."""
    assert outer_fibre_strain(ratio * 1.2, 1.2) == pytest.approx(strain, abs=5e-4)
