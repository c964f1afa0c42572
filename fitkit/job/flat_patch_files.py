"""Flat patches as files: the arrays as NPZ, outline and lines as JSON."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np

from fitkit.findings import Finding
from fitkit.flatten.flat_patch import FlatCut, FlatEdge, FlatLine, FlatMount, FlatPatch
from fitkit.geometry.mesh import TriangleMesh
from fitkit.job.plain_json import json_bytes
from fitkit.job.result_reading import read_result_bytes, read_result_json, reading_result
from fitkit.job.settings import file_stem
from fitkit.patch.design import PatchDesign

__all__ = ["flat_patch_files", "read_flat_patch"]

_FORMAT = 2


def flat_patch_files(flat: FlatPatch) -> dict[str, bytes]:
    """Return the files of one flat patch by name."""
    stem = file_stem(flat.design.name)
    arrays = io.BytesIO()
    np.savez_compressed(
        arrays,
        form_vertices_mm=flat.form.vertices,
        faces=flat.form.faces,
        flat_mm=flat.flat_mm,
        stretch=flat.stretch,
        stretch_direction=flat.stretch_direction,
    )
    values = {
        "format": _FORMAT,
        "unit": "mm",
        "name": flat.design.name,
        "up": flat.up.tolist(),
        "outline": [
            {
                "line": edge.line,
                "points_mm": edge.points_mm.tolist(),
                "formed_arc_mm": edge.formed_arc_mm.tolist(),
                "neighbours": [[int(at), line] for at, line in edge.neighbours],
            }
            for edge in flat.outline
        ],
        "inner_lines": [
            {"line": line.line, "points_mm": line.points_mm.tolist()} for line in flat.inner_lines
        ],
        "cuts": [
            {
                "name": cut.name,
                "tip_mm": cut.tip_mm.tolist(),
                "length_mm": cut.length_mm,
                "opening_mm": cut.opening_mm,
                "stop_hole_mm": cut.stop_hole_mm,
            }
            for cut in flat.cuts
        ],
        "mounts": [
            {
                "name": mount.name,
                "footprint_mm": mount.footprint_mm.tolist(),
                "holes_mm": mount.holes_mm.tolist(),
                "hole_mm": mount.hole_mm,
                "up_mm": mount.up_mm.tolist(),
            }
            for mount in flat.mounts
        ],
        "findings": [finding.as_dict() for finding in flat.findings],
    }
    return {
        f"{stem}.json": json_bytes(values),
        f"{stem}.npz": arrays.getvalue(),
    }


def read_flat_patch(folder: Path, design: PatchDesign) -> FlatPatch:
    """Return the flat patch of a design, as :func:`flat_patch_files` turned it into files.

    Raises
    ------
    JobError
        When a file is missing or damaged.
    """
    stem = file_stem(design.name)
    values = read_result_json(folder, f"{stem}.json", _FORMAT)
    content = read_result_bytes(folder, f"{stem}.npz")
    with (
        reading_result(folder, f"{stem}.npz"),
        np.load(io.BytesIO(content), allow_pickle=False) as arrays,
    ):
        form = TriangleMesh(arrays["form_vertices_mm"], arrays["faces"])
        flat_mm, stretch = arrays["flat_mm"], arrays["stretch"]
        stretch_direction = arrays["stretch_direction"]
    with reading_result(folder, f"{stem}.json"):
        return FlatPatch(
            design=design,
            form=form,
            flat_mm=flat_mm,
            outline=tuple(
                FlatEdge(
                    row["line"],
                    np.array(row["points_mm"]),
                    np.array(row["formed_arc_mm"]),
                    tuple((int(at), str(line)) for at, line in row["neighbours"]),
                )
                for row in values["outline"]
            ),
            stretch=stretch,
            stretch_direction=stretch_direction,
            up=np.array(values["up"]),
            inner_lines=tuple(
                FlatLine(row["line"], np.array(row["points_mm"])) for row in values["inner_lines"]
            ),
            cuts=tuple(
                FlatCut(
                    row["name"],
                    np.array(row["tip_mm"]),
                    float(row["length_mm"]),
                    float(row["opening_mm"]),
                    float(row["stop_hole_mm"]),
                )
                for row in values["cuts"]
            ),
            mounts=tuple(
                FlatMount(
                    row["name"],
                    np.array(row["footprint_mm"]),
                    np.array(row["holes_mm"]).reshape(-1, 2),
                    float(row["hole_mm"]),
                    np.array(row["up_mm"]),
                )
                for row in values["mounts"]
            ),
            findings=tuple(Finding.from_dict(row) for row in values["findings"]),
        )
