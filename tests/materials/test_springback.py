"""Springback by the metal trades' table, and by Gardiner's relation where that has no row."""

from __future__ import annotations

import math

import pytest

from fitkit.errors import InputError
from fitkit.materials.springback import Springback, springback

# Tabellenbuch Metall, finished radius over thickness and factor: Al 99.0, then DC01.
_TABLED = {
    "soft": ((1.0, 0.99), (4.0, 0.99), (10.0, 0.98), (25.0, 0.97)),
    "steel": ((1.0, 0.99), (4.0, 0.97), (10.0, 0.96), (25.0, 0.90)),
}


def known(material: str, inside_radius_mm: float, thickness_mm: float = 1.0) -> Springback:
    back = springback(material, inside_radius_mm, thickness_mm)
    assert back is not None
    return back


def test_example_of_the_table_book() -> None:
    """Al 99.0, finished radius 10 on 1 mm, 90°: tool radius 9.79, angle 91.84°.

    *Tabellenbuch Metall*: factors and angle seen, radius from memory.
    """
    back = known("aluminium 1100-O", 10.0)
    assert back.factor == pytest.approx(0.98)
    assert back.tool_radius_mm(10.0, 1.0) == pytest.approx(9.79, abs=0.005)
    assert math.degrees(back.tool_angle_rad(math.pi / 2)) == pytest.approx(91.84, abs=0.005)
    assert "Tabellenbuch" in back.source


def test_the_neutral_line_keeps_its_length() -> None:
    back = known("aluminium 6061-T6", 40.0)
    tool = back.tool_radius_mm(40.0, 1.0)
    assert back.tool_angle_rad(1.0) * (tool + 0.5) == pytest.approx(40.5)


@pytest.mark.parametrize(
    ("material", "yield_mpa", "modulus_mpa"),
    [("brass", 105.0, 110e3), ("copper", 70.0, 115e3), ("aluminium 5052-H32", 193.0, 70e3)],
)
def test_gardiners_relation_holds_for_what_has_no_row(
    material: str, yield_mpa: float, modulus_mpa: float
) -> None:
    """Factor 4 X^3 - 3 X + 1, X = tool radius x yield / (modulus x thickness) (Gardiner).

    Trans. ASME 79, 1957. Yield and modulus from memory: ASM Handbook vol. 2, Aluminum Association.
    """
    for inside in (5.0, 40.0, 120.0):
        back = known(material, inside, 0.8)
        x = (back.tool_radius_mm(inside, 0.8) + 0.4) * yield_mpa / (modulus_mpa * 0.8)
        assert back.factor == pytest.approx(4.0 * x**3 - 3.0 * x + 1.0, abs=1e-12)
        assert "Gardiner" in back.source
        assert "memory" in back.source


@pytest.mark.parametrize("row", ["soft", "steel"])
def test_relation_and_table_agree_on_tight_bends(row: str) -> None:
    """Yield 34 MPa of 1100-O and 200 MPa of DC01, from memory: within 0.035 up to 25 t."""
    strain = {"soft": 34.0 / 69e3, "steel": 200.0 / 210e3}[row]
    stand_in = {"soft": "copper", "steel": "brass"}[row]
    of_stand_in = {"copper": 70.0 / 115e3, "brass": 105.0 / 110e3}[stand_in]
    for ratio, factor in _TABLED[row]:
        # The relation knows a sheet by radius x yield / (modulus x thickness) alone.
        same = (ratio + 0.5) * strain / of_stand_in - 0.5
        assert known(stand_in, same).factor == pytest.approx(factor, abs=0.035)


def test_beyond_the_table_it_goes_on_and_below_it_stands_still() -> None:
    for material in ("aluminium 1100-O", "aluminium 6061-T6", "steel"):
        at_end, past = (known(material, ratio).factor for ratio in (100.0, 100.001))
        assert past == pytest.approx(at_end, abs=1e-4)
        wide = [known(material, ratio).factor for ratio in (110.0, 150.0, 300.0, 3000.0)]
        assert wide == sorted(wide, reverse=True)
        assert 0.0 < wide[-1] < 0.35
        assert known(material, 0.2).factor == known(material, 1.0).factor
    assert "Gardiner" in known("steel", 120.0).source
    assert "Gardiner" not in known("steel", 90.0).source


def test_a_tool_is_never_smaller_than_a_sharp_edge() -> None:
    assert known("brass", 0.0).tool_radius_mm(0.0, 1.0) == 0.0


def test_what_is_not_known() -> None:
    assert springback("aluminium", 10.0, 1.0) is None
    assert springback("card", 10.0, 1.0) is None
    with pytest.raises(InputError):
        springback("brass", -1.0, 1.0)
