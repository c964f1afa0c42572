"""Looking at tape lines and patches on the bare body: a picture and a table."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Generic, TypeVar

from fitkit.errors import JobError
from fitkit.findings import Finding
from fitkit.workflow.drawn_body import draw_body
from fitkit.workflow.step_report import Progress, part_of

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

    from fitkit.job.job_folder import Job
    from fitkit.patch.patch import Patch

__all__ = ["LineRow", "PatchEdgeRow", "PatchRow", "Shown", "show_lines", "show_patches"]


@dataclass(frozen=True, slots=True)
class LineRow:
    """One line as it lies on the body; ``start`` and ``end`` say where an open one ends."""

    name: str
    length_mm: float
    closed: bool
    start: str
    end: str


@dataclass(frozen=True, slots=True)
class PatchEdgeRow:
    """One edge of a patch: its line, its length and the patches that lie beside it."""

    line: str
    length_mm: float
    beside: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PatchRow:
    """One patch as it lies on the body; ``number`` is that of its part, ``3/4`` for a pair."""

    name: str
    number: str
    area_cm2: float
    material: str
    thickness_mm: float
    edges: tuple[PatchEdgeRow, ...]


_Row = TypeVar("_Row", bound="DataclassInstance")


@dataclass(frozen=True, slots=True)
class Shown(Generic[_Row]):
    """What was drawn: rows of the table, what was noticed, and the picture's path."""

    rows: tuple[_Row, ...]
    files: tuple[Path, ...]
    findings: tuple[Finding, ...] = ()

    def as_dict(self) -> dict[str, Any]:
        """Return the rows as plain values for JSON."""
        return {
            "rows": [asdict(row) for row in self.rows],
            "findings": [finding.as_dict() for finding in self.findings],
            "files": [str(path) for path in self.files],
        }


def show_lines(folder: Path | str, *, progress: Progress | None = None) -> Shown[LineRow]:
    """Draw all tape lines of a job on its bare body, without clearance.

    Raises
    ------
    JobError
        When no line is drawn, or the body has not been made.
    DesignError
        When a line cannot be laid.
    """
    from fitkit.job.job_folder import open_job
    from fitkit.patch.cut_patches import cut_form
    from fitkit.patch.place_in_words import place_in_words
    from fitkit.workflow.patches_picture import png_of_lines

    job = open_job(folder)
    if not job.settings.line:
        raise JobError(f"No tape lines are drawn in '{job.folder.name}' yet.", _HOW_LINE)
    drawn = draw_body(job, progress=part_of(progress, 0.0, 0.5))
    cut = cut_form(drawn.form, drawn.lines, (), progress=part_of(progress, 0.5, 0.7))
    rows = []
    for line in drawn.lines:
        ends = ("", "")
        if not line.path.closed:
            points = line.path.points_mm
            ends = (
                place_in_words(drawn.form.body, points[0]),
                place_in_words(drawn.form.body, points[-1]),
            )
        rows.append(LineRow(line.name, line.path.length_mm(), line.path.closed, *ends))
    path = _keep(job, "lines.png", png_of_lines(cut, drawn.lines))
    return Shown(tuple(rows), (path,))


def show_patches(folder: Path | str, *, progress: Progress | None = None) -> Shown[PatchRow]:
    """Draw the numbered patches of a job on its bare body, without clearance.

    Raises
    ------
    JobError
        When no patch is drawn, or the body has not been made.
    DesignError
        When a line cannot be laid or a patch is not closed.
    """
    from fitkit.job.designs import part_number_words, patch_designs
    from fitkit.job.job_folder import open_job
    from fitkit.patch.cut_patches import cut_form
    from fitkit.workflow.patches_picture import png_of_cut

    job = open_job(folder)
    designs = patch_designs(job.settings)
    if not designs:
        raise JobError(f"No patches are drawn in '{job.folder.name}' yet.", _HOW_PATCH)
    drawn = draw_body(job, progress=part_of(progress, 0.0, 0.4))
    cut = cut_form(drawn.form, drawn.lines, designs, progress=part_of(progress, 0.4, 0.7))
    numbers = part_number_words(designs)
    path = _keep(job, "patches.png", png_of_cut(cut, drawn.lines, numbers, all_lines=True))
    rows = tuple(_patch_row(patch, numbers[patch.design.name]) for patch in cut.patches)
    findings = tuple(finding for patch in cut.patches for finding in patch.findings)
    return Shown(rows, (path,), findings)


_HOW_LINE = "Add one with: fitkit line add JOB NAME --level HEIGHT (see fitkit line add --help)."
_HOW_PATCH = "Add one with: fitkit patch add JOB NAME --inside PLACE."


def _patch_row(patch: Patch, number: str) -> PatchRow:
    import numpy as np

    edges = []
    for loop in patch.loops:
        for edge in loop:
            steps = np.diff(patch.mesh.vertices[edge.vertices], axis=0)
            length = float(np.linalg.norm(steps, axis=1).sum())
            beside = tuple(dict.fromkeys(name for _, _, name in edge.beside))
            edges.append(PatchEdgeRow(edge.line, length, beside))
    design = patch.design
    area = patch.mesh.area_mm2() / 100.0
    return PatchRow(design.name, number, area, design.material, design.thickness_mm, tuple(edges))


def _keep(job: Job, name: str, content: bytes) -> Path:
    from fitkit.job.whole_writes import write_whole

    path = job.result_folder("body") / name
    with job.locked("show"):
        write_whole(path, content)
    return path
