"""The table of what reshaping did comes back as it was written."""

from __future__ import annotations

from pathlib import Path

import pytest

from fitkit.body.adapted_body import AdaptedMeasure
from fitkit.errors import JobError
from fitkit.job.adapted_files import adapted_files, read_adapted


def test_the_table_comes_back_to_the_last_bit(tmp_path: Path) -> None:
    rows = (
        AdaptedMeasure("chest", 1000.0, 945.0 + 1.0 / 3.0, 999.9999999),
        AdaptedMeasure('odd, "name"', 1.0, 2.0, 3.0),
    )
    for name, content in adapted_files(rows).items():
        (tmp_path / name).write_bytes(content)
    assert read_adapted(tmp_path) == rows
    assert rows[0].off_mm == pytest.approx(-1e-7)


@pytest.mark.parametrize("content", [b"", b"a,b\n", b"measure,wanted_mm,before_mm,after_mm\nx,1\n"])
def test_a_damaged_table_is_told(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "adapted.csv").write_bytes(content)
    with pytest.raises(JobError, match=r"adapted\.csv' is damaged"):
        read_adapted(tmp_path)


def test_a_missing_table_is_told(tmp_path: Path) -> None:
    with pytest.raises(JobError, match="is not there"):
        read_adapted(tmp_path)
