"""Developed attachments as files."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from fitkit.findings import Finding
from fitkit.flatten.attachment_blank import AttachmentBlank, Tab
from fitkit.flatten.flat_patch import FlatCut, FlatLine
from fitkit.job.plain_json import json_bytes
from fitkit.job.result_reading import read_result_json, reading_result
from fitkit.job.settings import file_stem
from fitkit.patch.attachment_design import AttachmentDesign

__all__ = ["attachment_file", "attachment_file_name", "read_attachment"]

_FORMAT = 1


def attachment_file_name(name: str) -> str:
    """Return the file name of an attachment's blank."""
    return f"{file_stem(name)}.attachment.json"


def attachment_file(blank: AttachmentBlank) -> bytes:
    """Return a blank as JSON; :func:`read_attachment` gives the same."""
    values = {
        "format": _FORMAT,
        "unit": "mm",
        "name": blank.design.name,
        "edges": [{"line": e.line, "points_mm": e.points_mm.tolist()} for e in blank.edges],
        "lapped": blank.lapped,
        "bends_mm": [bend.tolist() for bend in blank.bends_mm],
        "tabs": [
            {"corners_mm": tab.corners_mm.tolist(), "hole_at_mm": tab.hole_at_mm.tolist()}
            for tab in blank.tabs
        ],
        "up_mm": blank.up_mm.tolist(),
        "up_inward": blank.up_inward.tolist(),
        "stop_holes": [
            {
                "name": cut.name,
                "tip_mm": cut.tip_mm.tolist(),
                "length_mm": cut.length_mm,
                "opening_mm": cut.opening_mm,
                "stop_hole_mm": cut.stop_hole_mm,
            }
            for cut in blank.stop_holes
        ],
        "stretch_range": list(blank.stretch_range),
        "findings": [finding.as_dict() for finding in blank.findings],
    }
    return json_bytes(values)


def read_attachment(folder: Path, design: AttachmentDesign) -> AttachmentBlank:
    """Return the blank of an attachment.

    Raises
    ------
    JobError
        When the file is missing or damaged.
    """
    name = attachment_file_name(design.name)
    values = read_result_json(folder, name, _FORMAT)
    with reading_result(folder, name):
        least, most = values["stretch_range"]
        return AttachmentBlank(
            design,
            tuple(FlatLine(row["line"], np.array(row["points_mm"])) for row in values["edges"]),
            None if values["lapped"] is None else int(values["lapped"]),
            tuple(np.array(bend) for bend in values["bends_mm"]),
            tuple(
                Tab(np.array(row["corners_mm"]), np.array(row["hole_at_mm"]))
                for row in values["tabs"]
            ),
            np.array(values["up_mm"]),
            np.array(values["up_inward"]),
            tuple(
                FlatCut(
                    row["name"],
                    np.array(row["tip_mm"]),
                    float(row["length_mm"]),
                    float(row["opening_mm"]),
                    float(row["stop_hole_mm"]),
                )
                for row in values["stop_holes"]
            ),
            (float(least), float(most)),
            tuple(Finding.from_dict(row) for row in values["findings"]),
        )
