"""What reshaping to the tape list did, as a table that a spreadsheet reads."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from pathlib import Path

from fitkit.body.adapted_body import AdaptedMeasure
from fitkit.job.result_reading import read_result_bytes, reading_result

__all__ = ["adapted_files", "read_adapted"]

_NAME = "adapted.csv"
_COLUMNS = ("measure", "wanted_mm", "before_mm", "after_mm")


def adapted_files(measures: Sequence[AdaptedMeasure]) -> dict[str, bytes]:
    """Return the table by its file name; :func:`read_adapted` gives the same."""
    text = io.StringIO()
    table = csv.writer(text, lineterminator="\n")
    table.writerow(_COLUMNS)
    for row in measures:
        table.writerow([row.name, row.wanted_mm, row.before_mm, row.after_mm])
    return {_NAME: text.getvalue().encode()}


def read_adapted(folder: Path) -> tuple[AdaptedMeasure, ...]:
    """Return the rows of the table in a folder.

    Raises
    ------
    JobError
        When it is missing or damaged.
    """
    content = read_result_bytes(folder, _NAME)
    with reading_result(folder, _NAME):
        rows = list(csv.reader(io.StringIO(content.decode())))
        if tuple(rows[0]) != _COLUMNS:
            raise ValueError(rows[0])
        return tuple(
            AdaptedMeasure(name, float(wanted), float(before), float(after))
            for name, wanted, before, after in rows[1:]
        )
