"""Patches and tape lines as files: meshes as PLY, borders and lines as JSON.

The design of a patch is not kept here; it is in ``job.toml`` and is handed in on reading.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from fitkit.findings import Finding
from fitkit.geometry.mesh_files import mesh_from_ply, ply_bytes
from fitkit.geometry.surface_path import SurfacePath
from fitkit.job.plain_json import json_bytes
from fitkit.job.result_reading import read_result_bytes, read_result_json, reading_result
from fitkit.job.settings import file_stem
from fitkit.patch.design import PatchDesign
from fitkit.patch.patch import InnerLine, Patch, PatchEdge
from fitkit.patch.tape_line import TapeLine

__all__ = ["patch_files", "read_patch", "read_tape_lines", "tape_line_files"]

_FORMAT = 1


def patch_files(patch: Patch) -> dict[str, bytes]:
    """Return the files of one patch by name."""
    stem = file_stem(patch.design.name)
    values = {
        "format": _FORMAT,
        "name": patch.design.name,
        "loops": [[_edge(edge) for edge in loop] for loop in patch.loops],
        "inner_lines": [
            {"line": line.line, "vertices": line.vertices.tolist()} for line in patch.inner_lines
        ],
        "findings": [finding.as_dict() for finding in patch.findings],
    }
    return {
        f"{stem}.json": json_bytes(values),
        f"{stem}.ply": ply_bytes(patch.mesh),
    }


def read_patch(folder: Path, design: PatchDesign) -> Patch:
    """Return the patch of a design, as :func:`patch_files` turned it into files.

    Raises
    ------
    JobError
        When a file is missing or damaged.
    """
    stem = file_stem(design.name)
    values = read_result_json(folder, f"{stem}.json", _FORMAT)
    content = read_result_bytes(folder, f"{stem}.ply")
    with reading_result(folder, f"{stem}.ply"):
        mesh = mesh_from_ply(content)
    with reading_result(folder, f"{stem}.json"):
        return Patch(
            design=design,
            mesh=mesh,
            loops=tuple(tuple(_read_edge(row) for row in loop) for loop in values["loops"]),
            inner_lines=tuple(
                InnerLine(row["line"], np.array(row["vertices"], dtype=np.int64))
                for row in values["inner_lines"]
            ),
            findings=tuple(Finding.from_dict(row) for row in values["findings"]),
        )


def tape_line_files(lines: Sequence[TapeLine]) -> bytes:
    """Return tape lines as laid on a form, as JSON."""
    values = {
        "format": _FORMAT,
        "unit": "mm",
        "lines": [
            {
                "name": line.name,
                "closed": line.path.closed,
                "points_mm": line.path.points_mm.tolist(),
                "faces": line.path.faces.tolist(),
            }
            for line in lines
        ],
    }
    return json_bytes(values)


def read_tape_lines(folder: Path, name: str) -> tuple[TapeLine, ...]:
    """Return what :func:`tape_line_files` wrote.

    Raises
    ------
    JobError
        When the file is missing or damaged.
    """
    values = read_result_json(folder, name, _FORMAT)
    with reading_result(folder, name):
        return tuple(
            TapeLine(
                row["name"],
                SurfacePath(
                    np.array(row["points_mm"], dtype=np.float64),
                    np.array(row["faces"], dtype=np.int64),
                    bool(row["closed"]),
                ),
            )
            for row in values["lines"]
        )


def _edge(edge: PatchEdge) -> dict[str, Any]:
    return {
        "line": edge.line,
        "vertices": edge.vertices.tolist(),
        "neighbours": [[int(at), line] for at, line in edge.neighbours],
        "beside": [[int(first), int(last), patch] for first, last, patch in edge.beside],
    }


def _read_edge(row: dict[str, Any]) -> PatchEdge:
    return PatchEdge(
        row["line"],
        np.array(row["vertices"], dtype=np.int64),
        tuple((int(at), str(line)) for at, line in row["neighbours"]),
        tuple((int(a), int(b), str(patch)) for a, b, patch in row.get("beside", [])),
    )
