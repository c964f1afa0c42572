"""Springback by the metal trades' table."""

from __future__ import annotations

import math

import pytest

from fitkit.materials.springback import springback_factor, tool_angle_rad, tool_radius_mm


def test_example_of_the_table_book() -> None:
    """Al 99.0, finished radius 10 on 1 mm, 90°: tool radius 9.79, angle 91.84°.

    *Tabellenbuch Metall*: factors and angle seen, radius from memory.
    """
    factor = springback_factor("aluminium 1100-O", 10.0, 1.0)
    assert factor == pytest.approx(0.98)
    assert tool_radius_mm(factor, 10.0, 1.0) == pytest.approx(9.79, abs=0.005)
    angle = tool_angle_rad(factor, math.pi / 2)
    assert math.degrees(angle) == pytest.approx(91.84, abs=0.005)


def test_the_neutral_line_keeps_its_length() -> None:
    factor = springback_factor("aluminium 6061-T6", 40.0, 1.0)
    assert factor is not None
    tool = tool_radius_mm(factor, 40.0, 1.0)
    assert tool_angle_rad(factor, 1.0) * (tool + 0.5) == pytest.approx(40.5)


def test_what_the_table_does_not_have() -> None:
    assert springback_factor("aluminium 5052-O", 10.0, 1.0) is None
    assert springback_factor("aluminium 1100-O", 101.0, 1.0) is None
    assert springback_factor("card", 10.0, 1.0) is None
