"""A body as files: the mesh as PLY with its trust per vertex, axes and landmarks as JSON."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from fitkit.body.body import Body, Landmark, SegmentAxis
from fitkit.findings import Finding
from fitkit.geometry.mesh_files import ply_bytes, ply_contents
from fitkit.job.plain_json import json_bytes
from fitkit.job.result_reading import read_result_bytes, read_result_json, reading_result

__all__ = [
    "FOUND_MARKS_FILE",
    "FOUND_STEM",
    "body_file_names",
    "body_files",
    "landmarks_file",
    "read_body",
    "read_landmarks",
]

FOUND_STEM = "body-as-found"
"""Files of the body before it was reshaped to the tape list."""

FOUND_MARKS_FILE = "landmarks-as-found.json"
"""Landmarks where geometry found them, kept where some were put right by hand."""

_FORMAT = 1


def body_file_names(stem: str = "body") -> tuple[str, str]:
    """Return the names of a body's files."""
    return f"{stem}.json", f"{stem}.ply"


def body_files(body: Body, *, stem: str = "body") -> dict[str, bytes]:
    """Return the files of a body by name; :func:`read_body` gives the same to the last bit."""
    values = {
        "format": _FORMAT,
        "unit": "mm",
        "axes": [
            {
                "name": axis.name,
                "start_mm": axis.start_mm.tolist(),
                "end_mm": axis.end_mm.tolist(),
            }
            for axis in body.axes.values()
        ],
        "landmarks": _marks_told(body.landmarks),
        "findings": [finding.as_dict() for finding in body.findings],
    }
    return {
        f"{stem}.json": json_bytes(values, indent=1),
        f"{stem}.ply": ply_bytes(body.mesh, vertex_floats={"trust_mm": body.trust_mm}),
    }


def read_body(folder: Path, *, stem: str = "body") -> Body:
    """Return the body that :func:`body_files` turned into files.

    Raises
    ------
    JobError
        When a file is missing or damaged.
    """
    json_name, ply_name = body_file_names(stem)
    values = read_result_json(folder, json_name, _FORMAT)
    content = read_result_bytes(folder, ply_name)
    with reading_result(folder, ply_name):
        contents = ply_contents(content)
        trust_mm = contents.vertex_floats["trust_mm"]
    with reading_result(folder, json_name):
        axes = [SegmentAxis(**row) for row in values["axes"]]
        return Body(
            mesh=contents.mesh,
            trust_mm=trust_mm,
            axes={axis.name: axis for axis in axes},
            landmarks=_marks_read(values),
            findings=tuple(Finding.from_dict(row) for row in values["findings"]),
        )


def landmarks_file(landmarks: Mapping[str, Landmark]) -> bytes:
    """Return landmarks as a file of their own; :func:`read_landmarks` gives the same."""
    return json_bytes(
        {"format": _FORMAT, "unit": "mm", "landmarks": _marks_told(landmarks)}, indent=1
    )


def read_landmarks(folder: Path, name: str = FOUND_MARKS_FILE) -> dict[str, Landmark]:
    """Return the landmarks of a file of their own, by name.

    Raises
    ------
    JobError
        When it is missing or damaged.
    """
    values = read_result_json(folder, name, _FORMAT)
    with reading_result(folder, name):
        return _marks_read(values)


def _marks_told(landmarks: Mapping[str, Landmark]) -> list[dict[str, Any]]:
    return [
        {"name": mark.name, "at_mm": mark.at_mm.tolist(), "confidence": mark.confidence}
        for mark in landmarks.values()
    ]


def _marks_read(values: Mapping[str, Any]) -> dict[str, Landmark]:
    return {row["name"]: Landmark(**row) for row in values["landmarks"]}
