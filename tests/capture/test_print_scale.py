from __future__ import annotations

import math

import numpy as np
import pytest

from fitkit.capture.marker_sheet import marker_sheet
from fitkit.capture.print_scale import print_scale
from fitkit.errors import InputError

A4, A3, LETTER = (marker_sheet(name, 1) for name in ("A4", "A3", "Letter"))


def test_measured_check_lines_scale_each_direction() -> None:
    """An A4 sheet whose 180 mm line came out 178.2 mm and whose 200 mm line 201 mm."""
    scale, findings = print_scale([A4], (178.2, 201.0))
    assert (scale.x, scale.y) == pytest.approx((0.99, 1.005))
    assert findings == ()
    assert scale.of_sheet(np.array([[100.0, 100.0, 0.0]])) == pytest.approx(
        np.array([[99.0, 100.5, 0.0]])
    )


def test_reading_error_is_carried_to_the_scale() -> None:
    """0.3 mm on 180 and on 200 mm, the two averaged: worked by hand."""
    scale, _ = print_scale([A4], (180.0, 200.0))
    assert scale.sigma == pytest.approx(math.sqrt((0.3 / 180) ** 2 + (0.3 / 200) ** 2) / 2)
    assert scale.sigma == pytest.approx(0.00112, abs=1e-5)


def test_unmeasured_print_says_what_it_may_cost() -> None:
    scale, (finding,) = print_scale([A4], None)
    assert (scale.x, scale.y, scale.sigma) == (1.0, 1.0, 0.01)
    assert finding.code == "print-not-measured"
    assert "20 mm in a girth of one metre" in finding.message
    assert finding.remedy


def test_of_mixed_papers_the_measured_one_is_recognised() -> None:
    scale, findings = print_scale([A4, A3], (199.0, 199.0))
    assert (scale.x, scale.y) == pytest.approx((0.995, 0.995))
    assert [finding.code for finding in findings] == ["papers-mixed"]
    same, none = print_scale([A4, LETTER], (180.0, 200.0))
    assert (same.x, same.y) == (1.0, 1.0)
    assert none == ()


@pytest.mark.parametrize("printed", [(200.0, 180.0), (18.0, 20.0), (-180.0, 200.0), (math.nan, 1)])
def test_impossible_lengths_are_refused(printed: tuple[float, float]) -> None:
    with pytest.raises(InputError) as caught:
        print_scale([A4], printed)
    assert "180 mm" in caught.value.cause
    assert caught.value.remedy
