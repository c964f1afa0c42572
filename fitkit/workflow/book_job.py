"""The build book: from everything made before to one PDF for the shop, and the hardware list."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

from fitkit.findings import THIS_JOB, Finding, Severity
from fitkit.workflow.book_holding import book_holding
from fitkit.workflow.run_step import Made, run_step
from fitkit.workflow.step_report import Progress, StepReport, part_of

if TYPE_CHECKING:
    from fitkit.body.body import Body
    from fitkit.drawing.paper import Paper
    from fitkit.holding.bought import Bought
    from fitkit.job.job_folder import Job
    from fitkit.job.made_from import FileDigests
    from fitkit.job.settings import JobSettings
    from fitkit.shop.build_book import BookMeasure, BookMotion, BookSheets, BuildBook

__all__ = ["book", "book_job"]

BOOK_NAME = "build-book.pdf"
"""The book's file in the job's ``book`` folder."""

_MOST_PICTURES = 6


def book_job(
    folder: Path | str, *, measures: bool | None = None, progress: Progress | None = None
) -> tuple[StepReport, ...]:
    """Make the build book and all that it needs, if stale.

    Parameters
    ----------
    measures
        Whether the wearer's measures are in it; kept in ``job.toml``. None leaves that as it is.

    Raises
    ------
    FitkitError
        When a step before it cannot be done.
    """
    from fitkit.job.job_folder import held_job
    from fitkit.job.settings_edits import with_setting
    from fitkit.workflow.make_job import make_job

    if measures is not None:
        with held_job(folder, "book") as job:
            if job.settings.book.measures != measures:
                job.with_text(with_setting(job.text, "book", "measures", measures)).keep_text()
    return make_job(folder, until="book", progress=progress)


def book(job: Job, *, digests: FileDigests, progress: Progress | None = None) -> StepReport:
    """Make the build book, if stale. Hold the lock."""
    return run_step(
        job, "book", lambda told: _made(job, digests, told), digests=digests, progress=progress
    )


def _made(job: Job, digests: FileDigests, progress: Progress | None) -> Made:
    from fitkit.drawing.paper import PAPERS, paper_named
    from fitkit.export.build_book_pdf import pdf_of_book
    from fitkit.job.body_files import read_body
    from fitkit.job.plain_json import json_bytes
    from fitkit.shop.hardware_list import hardware_csv

    body = read_body(job.result_folder("body"))
    # A book is read in the hand: of larger papers, or one from a roll, it takes the usual one.
    paper = paper_named(job.settings.print.paper)
    paper = PAPERS["Letter" if paper.name in ("Letter", "Tabloid") else "A4"]
    content = _content(job, body, paper, digests, part_of(progress, 0.0, 0.25))
    plans = [
        {"number": part.template.number, "part": part.template.title, **asdict(part.plan)}
        for part in content.parts
    ]
    files = {
        BOOK_NAME: pdf_of_book(
            content, body.mesh, paper=paper, progress=part_of(progress, 0.25, 1.0)
        ),
        "hardware.csv": hardware_csv(content.hardware),
        "plans.json": json_bytes({"format": 1, "parts": plans}, indent=1),
    }
    count = len(content.hardware)
    words = (
        f"build book of {len(content.parts)} parts, {count} line{'s' * (count != 1)} of hardware"
    )
    if not content.measures:
        words += ", measures left out"
    return Made(files, (*content.findings, *_left_out(job, digests)), words)


def _left_out(job: Job, digests: FileDigests) -> tuple[Finding, ...]:
    """Say which results are of an earlier state of the job, and so not in the book."""
    return tuple(
        Finding(
            f"book-without-{step}",
            Severity.NOTE,
            "build book",
            f"The {step} of this job {be} made before its last changes, so the book leaves "
            f"{them} out.",
            f"Run: fitkit {command} {THIS_JOB}, then make the book again.",
        )
        for step, command, be, them in (
            ("sheets", "nest", "were", "them"),
            ("motion", "motion", "was", "it"),
        )
        if job.state(step, digests).state == "stale"
    )


def _content(
    job: Job, body: Body, paper: Paper, digests: FileDigests, progress: Progress | None
) -> BuildBook:
    from fitkit.job.attachment_files import read_attachment
    from fitkit.job.designs import (
        attachment_designs,
        corrections,
        own_hardware,
        part_numbers,
        patch_designs,
    )
    from fitkit.job.flat_patch_files import read_flat_patch
    from fitkit.job.strap_files import read_bought
    from fitkit.job.template_files import read_templates
    from fitkit.shop.build_book import build_book
    from fitkit.template.rivet_joint import rivet_holes

    settings = job.settings
    blanks = job.result_folder("blanks")
    designs = patch_designs(settings)
    flats = [read_flat_patch(blanks, design) for design in designs]
    return build_book(
        flats,
        read_templates(job.result_folder("templates")),
        rivet_holes(flats)[0],
        job=settings.job.name,
        wearer=settings.wearer.name,
        numbers=part_numbers(designs),
        axes=body.axes,
        corrections=corrections(settings),
        attachments=[read_attachment(blanks, one) for one in attachment_designs(settings)],
        bought=(*read_bought(job.result_folder("templates")), *_moving(settings)),
        own=own_hardware(settings),
        measures=_measures(job, body) if settings.book.measures else (),
        sheets=_sheets(job, paper) if _holds(job, "sheets", digests) else None,
        motion=_motion(job) if _holds(job, "motion", digests) else None,
        holding=book_holding(job),
        progress=progress,
    )


def _moving(settings: JobSettings) -> tuple[Bought, ...]:
    from fitkit.shop.moving_hardware import lame_hardware, pivot_hardware

    paired = {patch.name for patch in settings.patch if patch.pair}
    found: list[Bought] = []
    for pivot in settings.pivot:
        found += pivot_hardware(
            pivot.patch, pivot.screw_mm, paired=pivot.patch in paired, metal=pivot.screw_metal
        )
    for row in settings.lames:
        found += lame_hardware(row.name, row.of, row.hole_mm, paired=paired, metal=row.rivet_metal)
    return tuple(found)


def _measures(job: Job, body: Body) -> tuple[BookMeasure, ...]:
    from fitkit.shop.build_book import BookMeasure
    from fitkit.workflow.measure_job import measures_of

    return tuple(
        BookMeasure(row.name, row.body_mm, row.tape_mm, row.verdict)
        for row in measures_of(job, body)
    )


def _holds(job: Job, step: str, digests: FileDigests) -> bool:
    """Whether a step's result is there and of what the job is now; a stale one misleads."""
    return job.state(step, digests).state == "fresh"


def _sheets(job: Job, paper: Paper) -> BookSheets:
    from fitkit.job.nesting_files import read_nesting
    from fitkit.sheets.cut_list import cut_list, sheet_list
    from fitkit.sheets.layout_drawing import layout_page
    from fitkit.sheets.offcuts import offcuts_of
    from fitkit.shop.build_book import BookSheets

    nesting = read_nesting(job.result_folder("sheets"))
    offcuts = offcuts_of(nesting, job.settings.nest.offcut_mm)
    pages = tuple(
        layout_page(
            sheet,
            nesting.rules,
            [one for one in offcuts if one.sheet is sheet],
            job_name=job.settings.job.name,
            place=(index, len(nesting.sheets)),
            paper=paper.across(),
        )
        for index, sheet in enumerate(nesting.sheets, start=1)
    )
    return BookSheets(
        pages, cut_list(nesting, offcuts), sheet_list(nesting, offcuts), job.settings.nest.currency
    )


def _motion(job: Job) -> BookMotion:
    from fitkit.job.made_from import MadeFrom
    from fitkit.job.motion_files import TRIMS_PICTURE, read_motion
    from fitkit.job.result_reading import read_result_bytes
    from fitkit.job.settings import file_stem
    from fitkit.shop.build_book import BookMotion, BookRange

    folder = job.result_folder("motion")
    record = MadeFrom.read(folder)
    rows = read_motion(folder)["ranges"]
    names = {TRIMS_PICTURE: "Trim lines on offer"}
    names |= {f"{file_stem(row['name'])}.png": row["name"] for row in rows if row["contacts"]}
    pictures = [
        (name, read_result_bytes(folder, file))
        for file, name in names.items()
        if record is not None and file in record.files
    ]
    return BookMotion(
        tuple(
            BookRange(
                row["name"],
                row["rest_deg"],
                row["wanted_deg"],
                row["free_deg"],
                row["free_after_trim_deg"],
            )
            for row in rows
        ),
        tuple(f"{one.message} {one.remedy}".strip() for one in (record.findings if record else ())),
        tuple(pictures[:_MOST_PICTURES]),
    )
