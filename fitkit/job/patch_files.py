"""Patches and tape lines as files: meshes as PLY, borders and lines as JSON.

The design of a patch is not kept here; it is in ``job.toml`` and is handed in on reading.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from fitkit.findings import Finding
from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh_files import mesh_from_ply, ply_bytes
from fitkit.job.plain_json import json_bytes
from fitkit.job.result_reading import read_result_bytes, read_result_json, reading_result
from fitkit.job.settings import file_stem
from fitkit.patch.design import PatchDesign
from fitkit.patch.patch import InnerLine, Patch, PatchEdge

__all__ = ["patch_files", "read_drawn_lines", "read_patch", "tape_line_files"]

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


def tape_line_files(lines: Sequence[tuple[str, Floats, bool]], clearance_mm: float) -> bytes:
    """Return tape lines as drawn on a form, as JSON.

    Parameters
    ----------
    lines
        Name, (N, 3) float mm points and whether it closes, for each.
    clearance_mm
        That of the form they lie on.
    """
    values = {
        "format": _FORMAT,
        "unit": "mm",
        "clearance_mm": clearance_mm,
        "lines": [
            {"name": name, "closed": closed, "points_mm": points.tolist()}
            for name, points, closed in lines
        ],
    }
    return json_bytes(values)


def read_drawn_lines(folder: Path, name: str) -> tuple[tuple[str, Floats, bool], ...]:
    """Return what :func:`tape_line_files` wrote."""
    values = read_result_json(folder, name, _FORMAT)
    with reading_result(folder, name):
        return tuple(
            (row["name"], np.array(row["points_mm"], dtype=np.float64), bool(row["closed"]))
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
