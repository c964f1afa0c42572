"""What stands on the page of a sheet to mark out by."""

from __future__ import annotations

import numpy as np

from fitkit.sheets.layout_drawing import layout_page
from fitkit.sheets.nesting import LaidSheet, NestRules, PlacedPart
from tests.sheets.pieces import box, sheet


def words(*placed: PlacedPart) -> list[str]:
    page = layout_page(
        LaidSheet(sheet(), 1, placed), NestRules(), (), job_name="Heron", place=(1, 1)
    )
    return [one.text for one in page.words]


def test_a_part_too_narrow_for_its_name_is_named_below_the_sheet() -> None:
    wide = PlacedPart(box(300.0, 200.0, 1), np.array([10.0, 10.0]))
    narrow = PlacedPart(box(12.0, 400.0, 2), np.array([400.0, 10.0]), pinned=True)
    told = words(wide, narrow)
    assert "1 part 1" in told
    assert "2" in told
    assert "2 part 2, pinned" in told


def test_the_head_says_which_way_up_unless_a_part_says_otherwise() -> None:
    up = PlacedPart(box(300.0, 200.0, 1), np.array([10.0, 10.0]))
    down = PlacedPart(box(300.0, 200.0, 2), np.array([700.0, 10.0]), mirrored=True)
    assert any(one.endswith("outside of each part up") for one in words(up))
    both = words(up, down)
    assert "outside down" in both
    assert any(one.endswith("outside of each part up, but where told") for one in both)
