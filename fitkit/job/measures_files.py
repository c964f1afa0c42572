"""The body's measures as files: a table for a spreadsheet and the same as JSON."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from fitkit.job.plain_json import json_bytes
from fitkit.job.result_reading import read_result_json
from fitkit.spreadsheet import spreadsheet

__all__ = ["measures_files", "read_measures"]

_FORMAT = 1
_COLUMNS = (
    "name",
    "kind",
    "body_mm",
    "tape_mm",
    "difference_mm",
    "limit_mm",
    "verdict",
    "where",
)


def measures_files(measures: Mapping[str, Any]) -> dict[str, bytes]:
    """Return ``measures.csv`` and ``measures.json``; lengths in millimetres, to a hundredth.

    Parameters
    ----------
    measures
        ``measures``: rows with the columns of the table by name; ``landmarks`` and their
        ``confidence`` by name.
    """
    rows = ([_cell(row.get(name)) for name in _COLUMNS] for row in measures["measures"])
    values = {"format": _FORMAT, "unit": "mm", **measures}
    return {
        "measures.csv": spreadsheet(_COLUMNS, rows),
        "measures.json": json_bytes(values, indent=1),
    }


def read_measures(folder: Path) -> dict[str, Any] | None:
    """Return the values that :func:`measures_files` wrote; None when there are none.

    Raises
    ------
    JobError
        When the file is damaged.
    """
    if not (folder / "measures.json").is_file():
        return None
    return read_result_json(folder, "measures.json", _FORMAT)


def _cell(value: Any) -> Any:
    if value is None:
        return ""
    return f"{value:.2f}" if isinstance(value, float) else value
