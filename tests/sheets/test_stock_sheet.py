from __future__ import annotations

import numpy as np
import pytest

from fitkit.errors import InputError
from fitkit.sheets.stock_sheet import StockSheet, rectangle_mm
from tests.sheets.pieces import sheet


def test_an_outline_starts_at_the_origin_and_runs_counter_clockwise() -> None:
    clockwise = rectangle_mm(300.0, 200.0)[::-1] + np.array([50.0, -20.0])
    bad = rectangle_mm(10.0, 10.0) + np.array([60.0, -10.0])
    offcut = StockSheet("offcut", "card", 1.0, clockwise, bad_zones_mm=(bad,))
    assert offcut.size_mm == (300.0, 200.0)
    assert offcut.polygon().exterior.is_ccw
    assert offcut.bad_zones_mm[0].min(axis=0).tolist() == [10.0, 10.0]
    assert offcut.good_area().area == pytest.approx(300.0 * 200.0 - 100.0)
    assert not offcut.is_rectangle
    assert sheet().is_rectangle


def test_a_crossed_outline_is_refused_by_name() -> None:
    bow_tie = np.array([[0.0, 0.0], [10.0, 10.0], [10.0, 0.0], [0.0, 10.0]])
    with pytest.raises(InputError, match="'scrap' crosses itself"):
        StockSheet("scrap", "card", 1.0, bow_tie)


def test_parts_of_no_named_alloy_may_be_cut_from_any() -> None:
    hard = StockSheet("hard", "aluminium 3003-H14", 1.0, rectangle_mm(10.0, 10.0))
    assert hard.serves("aluminium", 1.0)
    assert hard.serves("aluminum 3003-H14", 1.0)
    assert not hard.serves("aluminium 3003-O", 1.0)
    assert not hard.serves("aluminium", 1.2)
    plain = StockSheet("plain", "aluminium", 1.0, rectangle_mm(10.0, 10.0))
    assert not plain.serves("aluminium 3003-O", 1.0)
