from __future__ import annotations

import pytest

from fitkit.capture.check_length import BodyCheck, CheckLength, parse_check, parse_check_length
from fitkit.errors import InputError


@pytest.mark.parametrize(
    ("row", "first", "second", "length_mm"),
    [
        ("1-5=1.84 m", "1", "5", 1840.0),
        (" 12 - 3 = 92,5 cm ", "12", "3", 925.0),
        ("a3 1-letter 02=50 in", "A3 1", "Letter 2", 1270.0),
        ("0-7=640", "0", "7", 640.0),
    ],
)
def test_rows_name_two_sheets_and_a_length(
    row: str, first: str, second: str, length_mm: float
) -> None:
    check = parse_check_length(row)
    assert (check.first, check.second) == (first, second)
    assert check.length_mm == pytest.approx(length_mm, abs=1e-9)
    assert parse_check_length(f"{check.between}={check.length_mm}") == CheckLength(
        first, second, check.length_mm
    )


@pytest.mark.parametrize(
    "row", ["", "1-5", "1=1 m", "1-5=", "1-5=long", "1-1=2 m", "B5 1-2=1 m", "1-5=-2 m", "1-5=3",
            "1-5=90 m", "1-5-6=2 m"],
)  # fmt: skip
def test_what_is_no_check_is_refused_with_an_example(row: str) -> None:
    with pytest.raises(InputError) as caught:
        parse_check_length(row)
    assert caught.value.cause
    assert caught.value.remedy


@pytest.mark.parametrize(
    ("row", "check"),
    [
        ("chest=91.2 cm", BodyCheck("chest", 912.0)),
        (" Left  upper arm = 301 mm", BodyCheck("left upper arm", 301.0)),
        ("waist", BodyCheck("waist", None)),
        ("A3 1-A3 5=1.84 m", CheckLength("A3 1", "A3 5", 1840.0)),
    ],
)
def test_a_check_is_between_two_sheets_or_of_the_body(
    row: str, check: BodyCheck | CheckLength
) -> None:
    assert parse_check(row) == check


@pytest.mark.parametrize("row", ["1-5", "chest 4=91 cm", "chest=", "=5", "chest=2 mm", ""])
def test_a_row_that_is_neither_is_refused_with_both_ways(row: str) -> None:
    with pytest.raises(InputError) as caught:
        parse_check(row)
    assert "=" in caught.value.remedy or "tape" in caught.value.remedy
