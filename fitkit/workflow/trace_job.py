"""Corrected card back into the job: traced from photos, shown, kept after the maker's yes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fitkit.workflow.step_report import Progress, StepReport

if TYPE_CHECKING:
    from fitkit.findings import Finding
    from fitkit.job.job_folder import Job
    from fitkit.template.correction import Correction
    from fitkit.trace.piece_part import CorrectedPart, KnownPart
    from fitkit.trace.trace_pieces import Trace

__all__ = ["TracedJob", "keep_corrections", "trace_job"]

TRACED = "traced"
"""Folder of the job where pictures and outlines of traced pieces lie."""
# A card's edge is measured to a few tenths of a millimetre: the photo as it comes, almost.
_LONGEST_PX = 4032


@dataclass(frozen=True, slots=True, eq=False)
class TracedJob:
    """What the photos showed, not yet in the job.

    Attributes
    ----------
    report
        In words, with pictures.
    corrections
        What :func:`keep_corrections` would write; empty where nothing differs.
    """

    report: StepReport
    corrections: tuple[Correction, ...]


def trace_job(
    folder: Path | str,
    photos: Sequence[Path | str],
    *,
    part: str | None = None,
    thickness_mm: float | None = None,
    even: bool = False,
    progress: Progress | None = None,
) -> TracedJob:
    """Trace the pieces in photos and lay each over its part.

    Parameters
    ----------
    photos
        Of the same table, the pieces lying flat with marker sheets beside them.
    part
        Which part it is, where the maker says so; then the largest piece is taken.
    thickness_mm
        Of the card.
    even
        Whether edges that are all but straight or round are taken as truly so.

    Raises
    ------
    JobError
        When the job has no templates yet.
    PhotoError
        When no photo can be trusted, or a piece is none of the parts.
    """
    from fitkit.capture.photo import find_photos, read_photos
    from fitkit.capture.tag_set import OUR_SHEETS, tag_set
    from fitkit.job.job_folder import open_job
    from fitkit.trace.piece_part import corrected_part
    from fitkit.trace.trace_pieces import table_photo, trace_pieces

    def told(share: float, words: str) -> None:
        if progress is not None:
            progress(share, words)

    job = open_job(folder)
    capture = job.settings.capture
    parts, drawings, stale = _parts(job)
    told(0.05, "reading the photos")
    read, findings = read_photos(find_photos(photos), longest_px=_LONGEST_PX)
    tags = OUR_SHEETS
    if capture.tags is not None and capture.side_mm is not None:
        tags = tag_set(capture.tags, capture.side_mm)
    told(0.2, "measuring the marker sheets and the pieces")
    trace = trace_pieces(
        [table_photo(photo) for photo in read],
        thickness_mm=thickness_mm,
        printed_mm=capture.printed_mm,
        tags=tags,
    )
    pieces = trace.pieces[:1] if part is not None else trace.pieces
    found = []
    for index, piece in enumerate(pieces):
        told(0.6 + 0.3 * index / len(pieces), "laying the pieces over their parts")
        found.append(corrected_part(piece, parts, drawings, name=part, even=even))
    told(0.95, "drawing")
    files = _kept_files(job, trace, found)
    changed = tuple(one.correction for one in found if one.largest_mm)
    report = StepReport(
        "trace",
        ran=True,
        words=_words(found),
        findings=(
            *stale,
            *findings,
            *trace.findings,
            *(finding for one in found for finding in one.findings),
        ),
        files=files,
        facts={"pieces": [_facts(one) for one in found]},
    )
    return TracedJob(report, changed)


def keep_corrections(folder: Path | str, corrections: Sequence[Correction]) -> StepReport:
    """Write corrections into ``job.toml``; one that a part had before is replaced.

    Raises
    ------
    JobError
        When the job would not hold together with them.
    """
    from fitkit.job.job_folder import held_job
    from fitkit.job.settings_edits import with_row, without_row

    with held_job(folder, "trace") as job:
        text = job.text
        for correction in corrections:
            if any(one.patch == correction.patch for one in job.settings.correction):
                text = without_row(text, "correction", correction.patch, key="patch")
            text = with_row(text, "correction", _values(correction))
        changed = job.with_text(text)
        changed.keep_text("took over corrected card pieces")
    names = ", ".join(f"'{one.patch}'" for one in corrections)
    return StepReport(
        "trace", ran=True, words=f"corrected {names}", files=(job.folder / "job.toml",)
    )


def _parts(job: Job) -> tuple[list[KnownPart], list[Any], list[Finding]]:
    from fitkit.errors import JobError
    from fitkit.findings import Finding, Severity
    from fitkit.job.designs import corrections, part_numbers, patch_designs
    from fitkit.job.flat_patch_files import read_flat_patch
    from fitkit.job.made_from import MadeFrom
    from fitkit.job.template_files import read_templates
    from fitkit.trace.piece_part import known_parts

    if MadeFrom.read(job.result_folder("templates")) is None:
        raise JobError(
            f"'{job.called}' has no templates yet to lay a piece over.",
            f"Run: fitkit make {job.called}",
        )
    stale: list[Finding] = []
    if job.state("templates").state != "fresh":
        stale.append(
            Finding(
                "templates-stale",
                Severity.WARNING,
                "templates",
                "The design has changed since the templates were made; pieces cut from the old "
                "ones may differ for that reason alone.",
                f"Run: fitkit make {job.called}",
            )
        )
    drawn = {one.number: one.drawing for one in read_templates(job.result_folder("templates"))}
    designs = patch_designs(job.settings)
    numbers, kept = part_numbers(designs), corrections(job.settings)
    parts, drawings = [], []
    for design in designs:
        number = numbers[design.name]
        if number not in drawn:
            continue
        flat = read_flat_patch(job.result_folder("blanks"), design)
        for known in known_parts(flat, number, kept.get(design.name)):
            parts.append(known)
            drawings.append(drawn[number])
    return parts, drawings, stale


def _kept_files(job: Job, trace: Trace, found: Sequence[CorrectedPart]) -> tuple[Path, ...]:
    from fitkit.export.trace_picture import png_of_correction, png_of_trace
    from fitkit.job.settings import file_stem
    from fitkit.job.whole_writes import write_whole

    folder = job.folder / TRACED
    folder.mkdir(exist_ok=True)
    names = [f"{one.part.number} {one.part.title}" for one in found]
    pieces = trace.pieces[: len(found)]
    content = {"table.png": png_of_trace(trace.pictures[0], pieces, names)}
    for one, name in zip(found, names, strict=True):
        content[f"{file_stem(name)}.png"] = png_of_correction(one.old_mm, one.new_mm, name)
    for name, data in content.items():
        write_whole(folder / name, data)
    return tuple(folder / name for name in content)


def _words(found: Sequence[CorrectedPart]) -> str:
    told = []
    for one in found:
        name = f"{one.part.number} {one.part.title}"
        if not one.largest_mm:
            told.append(f"{name} is as printed")
            continue
        moves = ", ".join(
            f"{line} {' and '.join(f'{mm:+.1f}' for mm in both if abs(mm) >= 0.05)} mm"
            for line, both in one.largest_mm.items()
        )
        told.append(f"{name}: {moves}")
    return "; ".join(told)


def _facts(one: CorrectedPart) -> dict[str, Any]:
    return {
        "part": one.part.title,
        "number": one.part.number,
        "unlike": round(one.unlike, 4),
        "moved_mm": {line: [round(mm, 2) for mm in both] for line, both in one.largest_mm.items()},
        "holes": len(one.correction.holes),
        "pencil_lines": len(one.correction.pencil_mm),
        "even_runs": [run.in_words() for run in one.runs],
    }


def _values(correction: Correction) -> dict[str, Any]:
    values: dict[str, Any] = {"patch": correction.patch}
    values["edges"] = [
        {
            "line": move.line,
            **({"piece": move.piece} if move.piece else {}),
            "moved_mm": move.moves.tolist(),
        }
        for move in correction.edges
    ]
    if correction.holes:
        values["holes"] = [[hole.x_mm, hole.y_mm, hole.diameter_mm] for hole in correction.holes]
    if correction.pencil_mm:
        values["pencil"] = [line.tolist() for line in correction.pencil_mm]
    return values
