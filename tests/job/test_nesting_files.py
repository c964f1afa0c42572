from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from fitkit.errors import JobError
from fitkit.job.nesting_files import NESTING_FILE, nesting_file, read_nesting
from fitkit.sheets.nesting import LaidSheet, Nesting, NestRules, PlacedPart
from tests.sheets.pieces import box, part, ring_mm, sheet


def test_a_nesting_is_read_back_to_the_last_bit(tmp_path: Path) -> None:
    rng = np.random.default_rng(3)
    odd = part(ring_mm(40.0) + rng.normal(size=(64, 2)), 7, openings_mm=(ring_mm(9.0),))
    laid = LaidSheet(
        sheet(bad_zones_mm=(ring_mm(20.0) + 100.0,), grain_rad=0.1, faced=True),
        2,
        (
            PlacedPart(odd, rng.normal(size=2), 0.3, mirrored=True, pinned=True),
            PlacedPart(box(20.0, 10.0, 8, grain_rad=0.2), rng.normal(size=2)),
        ),
    )
    nesting = Nesting(NestRules(2.0, 4.0, 0.5, True), (laid,), (box(9.0, 9.0, 9),))
    content = nesting_file(nesting)
    (tmp_path / NESTING_FILE).write_bytes(content)
    again = read_nesting(tmp_path)
    assert nesting_file(again) == content
    assert np.array_equal(again.sheets[0].placed[0].outline_mm(), laid.placed[0].outline_mm())


def test_a_damaged_nesting_is_named(tmp_path: Path) -> None:
    (tmp_path / NESTING_FILE).write_text('{"format": 1}')
    with pytest.raises(JobError, match="damaged"):
        read_nesting(tmp_path)
