"""What reshaping to the tape list did, as a table that a spreadsheet reads."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from fitkit.body.adapted_body import AdaptedMeasure
from fitkit.job.result_reading import read_result_bytes, reading_result
from fitkit.spreadsheet import read_spreadsheet, spreadsheet

__all__ = ["adapted_files", "read_adapted"]

_NAME = "adapted.csv"
_COLUMNS = ("measure", "wanted_mm", "before_mm", "after_mm")


def adapted_files(measures: Sequence[AdaptedMeasure]) -> dict[str, bytes]:
    """Return the table by its file name; :func:`read_adapted` gives the same."""
    rows = [[row.name, row.wanted_mm, row.before_mm, row.after_mm] for row in measures]
    return {_NAME: spreadsheet(_COLUMNS, rows)}


def read_adapted(folder: Path) -> tuple[AdaptedMeasure, ...]:
    """Return the rows of the table in a folder.

    Raises
    ------
    JobError
        When it is missing or damaged.
    """
    content = read_result_bytes(folder, _NAME)
    with reading_result(folder, _NAME):
        rows = read_spreadsheet(content)
        if not rows:
            raise ValueError("no rows")
        return tuple(
            AdaptedMeasure(row["measure"], *(float(row[name]) for name in _COLUMNS[1:]))
            for row in rows
        )
