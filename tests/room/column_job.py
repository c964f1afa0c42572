"""A job whose body is that of a mesh: a column with a scar to be moved about."""

from __future__ import annotations

from pathlib import Path

from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.mesh_files import write_mesh
from fitkit.workflow.make_job import make_job
from tests.truth.solids import cylinder

__all__ = ["SCAR", "column", "column_job"]

SCAR = (0.0, -120.0, 250.0)
"""Where the column's one landmark is told, mm."""

_TEXT = """\
format = 1

[job]
name = "Column"

[body]
from_mesh = "column.ply"
mesh_unit = "mm"
up = "z"

[body.landmarks] # by eye
scar = [0, -120, 250]
"""


def column(edge_mm: float) -> TriangleMesh:
    """Return the column, of radius 120 and 500 mm high, in triangles of about that edge."""
    return cylinder(120, 500, edge_mm)


def column_job(folder: Path, edge_mm: float) -> Path:
    """Make the job of it in a folder, its body too."""
    folder.mkdir(exist_ok=True)
    write_mesh(folder / "column.ply", column(edge_mm))
    (folder / "job.toml").write_text(_TEXT, encoding="utf-8")
    make_job(folder, until="body")
    return folder
