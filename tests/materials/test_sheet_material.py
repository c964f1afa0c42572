"""The materials table against handbook values."""

from __future__ import annotations

import pytest

from fitkit.errors import InputError
from fitkit.materials.sheet_material import sheet_material_named, sheet_materials

# Densities in g/cm3, Aluminum Association, "Aluminum Standards and Data", typical physical
# properties (values from memory, checked against a distributor's alloy table).
DENSITY = {"1100-O": 2.71, "3003-H14": 2.73, "5052-H32": 2.68, "6061-T6": 2.70}


@pytest.mark.parametrize(("temper", "density"), DENSITY.items())
def test_density_is_the_handbook_value(temper: str, density: float) -> None:
    assert sheet_material_named(f"aluminium {temper}").density_kg_m3 == pytest.approx(
        1000 * density
    )


def test_steel_brass_and_copper_are_what_handbooks_print() -> None:
    """7.85, 8.53 and 8.94 g/cm3 (ASM Handbook vol. 1 and 2, from memory), by names of the trade."""
    told = {"mild steel": 7850.0, "70/30 brass": 8530.0, "soft copper": 8940.0}
    for name, density in told.items():
        assert sheet_material_named(name).density_kg_m3 == density


def test_the_neutral_line_lies_further_in_where_the_sheet_is_soft() -> None:
    """Machinery's Handbook, from memory: 0.55 t and 0.64 t to 1.57 R at a right angle."""
    for name, per_t in (("brass", 0.55), ("copper", 0.55), ("steel", 0.64), ("aluminium", 0.64)):
        assert sheet_material_named(name).bend_k == pytest.approx(per_t / 1.5708, abs=0.003)


def test_mass_of_a_square_metre_of_one_millimetre_5052() -> None:
    """2.68 g/cm3 times 1 mm is 2.68 kg/m2, by the units alone."""
    assert sheet_material_named("Aluminum 5052-h32").mass_kg_m2(1.0) == pytest.approx(2.68)


def test_annealed_tempers_stretch_more_than_hard_ones() -> None:
    for alloy, soft, hard in (("3003", "O", "H14"), ("5052", "O", "H32"), ("6061", "O", "T6")):
        soft_limit = sheet_material_named(f"aluminium {alloy}-{soft}").stretch_limit
        assert soft_limit > sheet_material_named(f"aluminium {alloy}-{hard}").stretch_limit


def test_every_row_is_physical_and_says_where_it_comes_from() -> None:
    names = [word for m in sheet_materials() for word in (m.name, *m.also)]
    assert len(names) == len(set(names))
    for material in sheet_materials():
        assert 20 < material.density_kg_m3 < 9000
        assert 0 < material.stretch_limit < 0.5
        assert 0 < material.shrink_limit < 0.5
        assert list(material.thicknesses_mm) == sorted(material.thicknesses_mm)
        assert material.source
        assert material.confidence in {"seen", "memory", "practice"}


def test_alloy_not_stated_takes_the_least_formable() -> None:
    alloys = [m for m in sheet_materials() if m.name.startswith("aluminium ")]
    assert sheet_material_named("aluminium").stretch_limit == min(m.stretch_limit for m in alloys)


def test_a_slip_of_the_pen_is_answered_with_the_nearest() -> None:
    with pytest.raises(InputError, match="'leather'"):
        sheet_material_named("lether")
    with pytest.raises(InputError, match="Choose one of: card"):
        sheet_material_named("xyzzy")
