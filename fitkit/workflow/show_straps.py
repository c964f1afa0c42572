"""Looking at the straps over the plates: a picture and a table."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from fitkit.errors import JobError
from fitkit.workflow.show_design import Shown
from fitkit.workflow.step_report import Progress, part_of

__all__ = ["StrapRow", "show_straps"]


@dataclass(frozen=True, slots=True)
class StrapRow:
    """One strap as laid: how far it can be set, how many of each piece are cut, the pieces."""

    name: str
    words: str
    count: int
    pieces: tuple[str, ...]
    length_mm: float
    worn_mm: float
    shortest_mm: float
    longest_mm: float


def show_straps(folder: Path | str, *, progress: Progress | None = None) -> Shown[StrapRow]:
    """Make what is stale up to the patches, then draw the straps over them.

    Raises
    ------
    JobError
        When no strap is told.
    DesignError
        When one cannot be laid.
    """
    from fitkit.job.job_folder import open_job
    from fitkit.job.steps import STRAPS_SHOWN
    from fitkit.job.whole_writes import write_whole
    from fitkit.workflow.job_plates import JobPlates
    from fitkit.workflow.make_job import make_job
    from fitkit.workflow.straps import laid_straps, straps_picture

    job = open_job(folder)
    if not job.settings.strap:
        raise JobError(
            f"No straps are told in '{job.folder.name}' yet.",
            f"Add one with: fitkit strap add {job.called} NAME --from PATCH PLACE "
            "--to PATCH PLACE.",
        )
    make_job(folder, until="patches", progress=part_of(progress, 0.0, 0.7))
    plates = JobPlates(job)
    straps = laid_straps(job, plates)
    if progress is not None:
        progress(0.9, "drawing the straps")
    path = job.result_folder("patches") / STRAPS_SHOWN
    picture = straps_picture(plates, straps)
    with job.locked("show"):
        write_whole(path, picture)
    rows = tuple(
        StrapRow(
            strap.design.name,
            strap.in_words(),
            strap.count,
            tuple(piece.in_words() for piece in strap.fit.pieces),
            round(strap.run.length_mm, 1),
            round(strap.fit.setting.worn_mm, 1),
            round(strap.fit.setting.shortest_mm, 1),
            round(strap.fit.setting.longest_mm, 1),
        )
        for strap in straps
    )
    findings = tuple(finding for strap in straps for finding in strap.findings)
    return Shown(rows, (path,), findings)
