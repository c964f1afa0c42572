from __future__ import annotations

import pytest

from fitkit.materials.sheet_material import sheet_materials
from fitkit.materials.stock_sizes import stock_sizes_of


@pytest.mark.parametrize("material", [material.name for material in sheet_materials()])
def test_every_material_is_sold_in_some_size(material: str) -> None:
    row = stock_sizes_of(material)
    assert all(length >= width > 0 for length, width in row.sizes_mm)
    assert row.source
    assert row.confidence in {"seen", "memory", "practice"}


def test_metric_sheet_and_iso_216() -> None:
    """A1 is 594 x 841 mm (ISO 216); sheet of 1000 x 2000 mm is common practice, no source."""
    assert (841.0, 594.0) in stock_sizes_of("card").sizes_mm
    assert (2000.0, 1000.0) in stock_sizes_of("aluminium 5052-H32").sizes_mm
