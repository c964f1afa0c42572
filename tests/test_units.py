"""Lengths are taken as people write them."""

from __future__ import annotations

import math

import pytest

from fitkit.errors import InputError
from fitkit.units import format_length_mm, parse_length_mm, radians_from_degrees


@pytest.mark.parametrize(
    ("text", "length_mm"),
    [
        ("92 cm", 920.0),
        ("92,5cm", 925.0),
        ("1.2 m", 1200.0),
        ("36.5 in", 927.1),
        ('2"', 50.8),
        ("-3 mm", -3.0),
        ("17", 17.0),
        (17, 17.0),
    ],
)
def test_a_written_length_becomes_millimetres(text: str | float, length_mm: float) -> None:
    """One inch is 25.4 mm exactly (international yard and pound agreement, 1959)."""
    assert parse_length_mm(text) == pytest.approx(length_mm, abs=1e-12)


@pytest.mark.parametrize("text", ["", "about 3", "3 ft", "3 cm 2", "1e3", "nan", float("nan")])
def test_what_is_no_length_is_refused_with_its_name(text: str | float) -> None:
    with pytest.raises(InputError) as caught:
        parse_length_mm(text, what="chest girth")
    assert "chest girth" in caught.value.cause
    assert caught.value.remedy


def test_a_length_is_shown_with_its_unit() -> None:
    assert format_length_mm(1058.66) == "1058.7 mm"


def test_degrees_become_radians() -> None:
    assert radians_from_degrees(180.0) == math.pi
