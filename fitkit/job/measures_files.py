"""The body's measures as files: a table for a spreadsheet and the same as JSON."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from typing import Any

from fitkit.job.plain_json import json_bytes

__all__ = ["measures_files"]

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
    text = io.StringIO()
    table = csv.DictWriter(text, _COLUMNS, extrasaction="ignore", lineterminator="\r\n")
    table.writeheader()
    for row in measures["measures"]:
        table.writerow({name: _cell(row.get(name)) for name in _COLUMNS})
    values = {"format": _FORMAT, "unit": "mm", **measures}
    return {
        "measures.csv": text.getvalue().encode("utf-8"),
        "measures.json": json_bytes(values, indent=1),
    }


def _cell(value: Any) -> Any:
    if value is None:
        return ""
    return f"{value:.2f}" if isinstance(value, float) else value
