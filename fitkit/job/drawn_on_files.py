"""What a design was drawn on, as a file."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from fitkit.body.body import Landmark
from fitkit.job.plain_json import json_bytes
from fitkit.job.result_reading import read_result_json, reading_result
from fitkit.patch.drawn_on import DrawnOn

__all__ = ["DRAWN_ON", "drawn_on_file", "read_drawn_on"]

DRAWN_ON = "form-drawn-on.json"
"""Name of the file beside the patches."""

_FORMAT = 1


def drawn_on_file(drawn: DrawnOn, design: str) -> bytes:
    """Return the file's content; ``design`` is the digest of the lines and patches as written."""
    return json_bytes(
        {
            "format": _FORMAT,
            "unit": "mm",
            "design": design,
            "landmarks": {
                name: {"at_mm": mark.at_mm.tolist(), "confidence": mark.confidence}
                for name, mark in drawn.landmarks.items()
            },
            "anchors_mm": {name: at.tolist() for name, at in drawn.anchors_mm.items()},
            "lengths_mm": dict(drawn.lengths_mm),
        }
    )


def read_drawn_on(folder: Path) -> tuple[DrawnOn, str]:
    """Return what :func:`drawn_on_file` was given.

    Raises
    ------
    JobError
        When the file is missing or damaged.
    """
    values = read_result_json(folder, DRAWN_ON, _FORMAT)
    with reading_result(folder, DRAWN_ON):
        landmarks = {
            name: Landmark(name, np.array(row["at_mm"]), float(row["confidence"]))
            for name, row in values["landmarks"].items()
        }
        anchors = {
            name: np.array(at, dtype=np.float64).reshape(-1, 3)
            for name, at in values["anchors_mm"].items()
        }
        lengths = {name: float(length) for name, length in values["lengths_mm"].items()}
        return DrawnOn(landmarks, anchors, lengths), str(values["design"])
