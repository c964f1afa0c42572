from __future__ import annotations

import numpy as np
import pytest
import shapely

from fitkit.sheets.nesting import LaidSheet, Nesting, NestRules, PlacedPart
from fitkit.sheets.offcuts import offcuts_of, offcuts_of_sheet
from fitkit.sheets.stock_sheet import StockSheet, rectangle_mm
from tests.sheets.pieces import box, part, ring_mm, sheet


def test_the_end_of_a_sheet_is_one_straight_offcut_with_its_share_of_the_price() -> None:
    stock = StockSheet("s", "card", 1.0, rectangle_mm(1000.0, 500.0), grain_rad=0.0, price=10.0)
    laid = LaidSheet(stock, 1, (PlacedPart(box(390.0, 480.0), np.array([10.0, 10.0])),))
    (piece,) = offcuts_of_sheet(laid, 3.0, 120.0)
    assert piece.outline_mm.min(axis=0) == pytest.approx([403.0, 0.0])
    offcut = piece.stock
    assert offcut.size_mm == pytest.approx((597.0, 500.0))
    assert offcut.is_rectangle
    assert offcut.grain_rad == 0.0
    assert offcut.price == pytest.approx(5.97)


def test_pockets_count_when_they_are_wide_enough_and_keep_off_parts_and_bad_zones() -> None:
    ring = part(ring_mm(240.0), 1, openings_mm=(ring_mm(150.0),))
    dent = ring_mm(20.0) + np.array([250.0, 250.0])
    stock = sheet(500.0, 500.0, bad_zones_mm=(dent,))
    laid = LaidSheet(stock, 1, (PlacedPart(ring, np.array([250.0, 250.0])),))
    pieces = offcuts_of(Nesting(NestRules(), (laid,)), 100.0)
    assert len(pieces) == 1
    kept = pieces[0].stock
    # 3 mm gap and 2 mm for smoothing off the ring, 2 mm off the dent.
    assert kept.good_area().area == pytest.approx(np.pi * (145.0**2 - 22.0**2), rel=0.01)
    assert offcuts_of(Nesting(NestRules(), (laid,)), 140.0) == ()


def test_offcuts_lie_in_what_is_left() -> None:
    rng = np.random.default_rng(2)
    placed = tuple(
        PlacedPart(part(ring_mm(r), n), np.array([150.0 + 260.0 * n, 250.0]))
        for n, r in enumerate(rng.uniform(60.0, 120.0, 3))
    )
    laid = LaidSheet(sheet(), 1, placed)
    free = laid.stock.polygon() - shapely.union_all([one.polygon() for one in placed])
    pieces = offcuts_of_sheet(laid, 3.0, 100.0)
    assert pieces
    for piece in pieces:
        outline = shapely.Polygon(piece.outline_mm)
        assert outline.difference(free).area == pytest.approx(0.0, abs=1e-6)
        for one in placed:
            assert outline.distance(one.polygon()) >= 3.0 - 0.02
