"""Templates laid on the maker's sheets: does it fit, and how is it cut."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fitkit.errors import InputError, JobError
from fitkit.findings import THIS_JOB
from fitkit.workflow.run_step import Made, run_step
from fitkit.workflow.step_report import Progress, StepReport, part_of

if TYPE_CHECKING:
    from fitkit.job.job_folder import Job
    from fitkit.job.made_from import FileDigests
    from fitkit.sheets.kept_places import PinnedPlace
    from fitkit.sheets.nesting import Nesting
    from fitkit.template.template import Template

__all__ = [
    "nest_job",
    "nest_step",
    "pin_part",
    "read_layout",
    "release_part",
    "sums_of_layout",
]

_SO_FAR = "nesting-so-far.json"
_SECONDS_BETWEEN_KEEPS = 1.0
# What would do is tried so long when parts are left.
_SHORTFALL_SECONDS = 6.0


def nest_job(
    folder: Path | str,
    *,
    seconds: float | None = None,
    improve: bool = False,
    progress: Progress | None = None,
    cancelled: Callable[[], bool] | None = None,
    better: Callable[[Nesting], None] | None = None,
) -> tuple[StepReport, ...]:
    """Lay the templates on the stock, with all that needs.

    Parameters
    ----------
    seconds
        How long to look for a better layout; as ``[nest]`` says when None.
    improve
        Look on from the layout there is, also when it still holds.
    cancelled
        Asked often; once it says True the best layout so far is kept and the work ends.
    better
        Called with every layout that is better than the one before.

    Raises
    ------
    FitkitError
        When a step cannot be done.
    """
    from fitkit.job.job_folder import held_job
    from fitkit.job.made_from import FileDigests
    from fitkit.workflow.make_job import make_job

    reports = make_job(folder, until="templates", progress=part_of(progress, 0.0, 0.1))
    with held_job(folder, "nest") as job:
        own = nest_step(
            job,
            digests=FileDigests(job.folder),
            seconds=seconds,
            improve=improve,
            progress=part_of(progress, 0.1, 1.0),
            cancelled=cancelled,
            better=better,
        )
    return (*reports, own)


def nest_step(
    job: Job,
    *,
    digests: FileDigests,
    seconds: float | None = None,
    improve: bool = False,
    progress: Progress | None = None,
    cancelled: Callable[[], bool] | None = None,
    better: Callable[[Nesting], None] | None = None,
) -> StepReport:
    """Lay the templates on the stock, if stale or to be improved. Hold the lock."""
    limit = job.settings.nest.seconds if seconds is None else seconds

    def work(told: Progress | None) -> Made:
        return _sheets(job, limit, told, cancelled, better)

    return run_step(
        job, "sheets", work, digests=digests, progress=progress, again=improve or _so_far(job)
    )


def _so_far(job: Job) -> bool:
    """Tell whether a run was cut off and left the best it had."""
    return (job.folder / ".fitkit" / _SO_FAR).is_file()


def _sheets(
    job: Job,
    seconds: float,
    progress: Progress | None,
    cancelled: Callable[[], bool] | None,
    better: Callable[[Nesting], None] | None,
) -> Made:
    from fitkit.job.nesting_files import NESTING_FILE, nesting_file
    from fitkit.job.stock_rows import nest_rules, stock_sheets
    from fitkit.job.template_files import read_templates
    from fitkit.job.whole_writes import write_whole
    from fitkit.sheets.nest_parts import nest_parts
    from fitkit.sheets.part_to_place import parts_to_place
    from fitkit.sheets.search_watch import SearchWatch
    from fitkit.sheets.shortfall import shortfall_findings

    templates = read_templates(job.result_folder("templates"))
    parts = parts_to_place(templates)
    so_far = job.folder / ".fitkit" / _SO_FAR
    kept = 0.0

    def keep(nesting: Nesting) -> None:
        nonlocal kept
        if better is not None:
            better(nesting)
        if time.monotonic() - kept >= _SECONDS_BETWEEN_KEEPS:
            write_whole(so_far, nesting_file(nesting))
            kept = time.monotonic()

    result = nest_parts(
        parts,
        stock_sheets(job.settings),
        nest_rules(job.settings),
        watch=SearchWatch(seconds, cancelled, part_of(progress, 0.0, 0.9)),
        start=_last(job),
        pinned=_pins(job),
        better=keep,
    )
    told = part_of(progress, 0.9, 1.0)
    findings = list(result.findings)
    if result.nesting.left_out:
        if told is not None:
            told(0.0, "trying what would do")
        findings += shortfall_findings(
            result.nesting,
            result.stock,
            watch=SearchWatch(_SHORTFALL_SECONDS, cancelled),
            pinned=_pins(job),
            how_to_divide=_how_to_divide(job),
        )
    so_far.unlink(missing_ok=True)
    files = {NESTING_FILE: nesting_file(result.nesting)}
    if told is not None:
        told(0.5, "drawing the sheets")
    files |= _drawn(job, result.nesting, templates)
    return Made(files, tuple(findings), _in_words(result.nesting))


def _drawn(job: Job, nesting: Nesting, templates: Sequence[Template]) -> dict[str, bytes]:
    """Return drawings of every sheet, and the tables."""
    from fitkit.export.drawing_dxf import dxf_of_drawing
    from fitkit.export.drawing_picture import png_of_drawing
    from fitkit.export.drawing_svg import svg_of_drawing
    from fitkit.export.page_pdf import pdf_of_full_pages
    from fitkit.job.cut_list_files import cut_list_csv, offcuts_toml, sheet_list_csv
    from fitkit.sheets.cut_list import cut_list, sheet_list
    from fitkit.sheets.cutter_drawing import cutter_drawing
    from fitkit.sheets.layout_drawing import LAYOUT_PAPER, layout_page
    from fitkit.sheets.offcuts import offcuts_of

    settings = job.settings.nest
    offcuts = offcuts_of(nesting, settings.offcut_mm)
    drawings = {template.number: template.drawing for template in templates}
    files = {
        "cut-list.csv": cut_list_csv(cut_list(nesting, offcuts), settings.currency),
        "sheets.csv": sheet_list_csv(sheet_list(nesting, offcuts), settings.currency),
        "offcuts.toml": offcuts_toml(offcuts),
    }
    pages = []
    for index, sheet in enumerate(nesting.sheets, start=1):
        kept = [one for one in offcuts if one.sheet is sheet]
        page = layout_page(
            sheet,
            nesting.rules,
            kept,
            job_name=job.settings.job.name,
            place=(index, len(nesting.sheets)),
        )
        cutter = cutter_drawing(sheet, drawings, kept)
        pages.append(page)
        files[f"sheet-{index:02d}.png"] = png_of_drawing(page, px_per_mm=5.0)
        files[f"sheet-{index:02d}.svg"] = svg_of_drawing(cutter)
        files[f"sheet-{index:02d}.dxf"] = dxf_of_drawing(cutter)
    if pages:
        files["layouts.pdf"] = pdf_of_full_pages(pages, [LAYOUT_PAPER] * len(pages))
    files |= _tags(job, nesting, templates)
    return files


def _tags(job: Job, nesting: Nesting, templates: Sequence[Template]) -> dict[str, bytes]:
    """Return the page of tags for those parts on the sheets that bear one on paper."""
    from fitkit.drawing.paper import PAPERS, paper_named
    from fitkit.export.page_pdf import pdf_of_full_pages
    from fitkit.sheets.tag_pages import tag_pages

    laid = {placed.part.number for placed in nesting.placed()}
    tagged = [
        (one.number, one.title) for one in templates if one.number in laid and one.drawing.fills
    ]
    told = paper_named(job.settings.print.paper)
    paper = PAPERS["A4"] if told.on_roll else told
    pages = tag_pages(tagged, job_name=job.settings.job.name, paper=paper)
    return {"tags.pdf": pdf_of_full_pages(pages, [paper] * len(pages))} if pages else {}


def _last(job: Job) -> Nesting | None:
    """Return the layout of a run that was cut off, else the last one; None without either."""
    from fitkit.job.nesting_files import NESTING_FILE, read_nesting

    for folder, name in (
        (job.folder / ".fitkit", _SO_FAR),
        (job.result_folder("sheets"), NESTING_FILE),
    ):
        if (folder / name).is_file():
            try:
                return read_nesting(folder, name)
            except JobError:
                continue  # damaged: it is laid out anew
    return None


def _how_to_divide(job: Job) -> dict[str, str]:
    """Return the command that divides a part, by its name; a twin is divided with its patch."""
    from fitkit.template.mirror import mirrored_name

    return {
        name: f"fitkit patch split {THIS_JOB} '{row.name}' NEW --along LINE"
        for row in job.settings.patch
        for name in (row.name, mirrored_name(row.name))
    }


def _pins(job: Job) -> list[PinnedPlace]:
    import numpy as np

    from fitkit.sheets.kept_places import PinnedPlace
    from fitkit.units import radians_from_degrees

    return [
        PinnedPlace(
            row.part,
            row.sheet,
            row.copy_number,
            np.array(row.at_mm),
            radians_from_degrees(row.turn_deg),
            row.mirrored,
        )
        for row in job.settings.pinned
    ]


def _in_words(nesting: Nesting) -> str:
    count = len(nesting.placed())
    sheets = len(nesting.sheets)
    words = f"{count} part{'s' * (count != 1)} on {sheets} sheet{'s' * (sheets != 1)}"
    if nesting.left_out:
        words += f", {len(nesting.left_out)} left out"
    return words


def read_layout(folder: Path | str) -> Nesting:
    """Return the layout a job has.

    Raises
    ------
    JobError
        When it has none yet.
    """
    from fitkit.job.job_folder import open_job
    from fitkit.job.nesting_files import NESTING_FILE, read_nesting

    job = open_job(folder)
    if not (job.result_folder("sheets") / NESTING_FILE).is_file():
        raise JobError("Nothing is laid out on sheets yet.", f"Run: fitkit nest {job.called}")
    return read_nesting(job.result_folder("sheets"))


def sums_of_layout(folder: Path | str) -> str:
    """Return in words what the layout a job has comes to: cut, mass, cost, sheets to buy.

    Raises
    ------
    JobError
        When it has none yet.
    """
    from fitkit.job.job_folder import open_job
    from fitkit.sheets.cut_list import cut_list, sheet_list, sums_in_words
    from fitkit.sheets.offcuts import offcuts_of

    nesting, settings = read_layout(folder), open_job(folder).settings.nest
    offcuts = offcuts_of(nesting, settings.offcut_mm)
    sheets = sheet_list(nesting, offcuts)
    return sums_in_words(cut_list(nesting, offcuts), sheets, settings.currency)


def pin_part(
    folder: Path | str,
    part: str,
    *,
    sheet: str | None = None,
    copy: int = 1,
    at_mm: tuple[float, float] | None = None,
    turn_deg: float = 0.0,
    mirrored: bool = False,
) -> StepReport:
    """Keep a part where it lies, or at a place told, by a ``[[pinned]]`` row of ``job.toml``.

    Parameters
    ----------
    part
        Its name with its side, or its number.
    sheet, copy, at_mm, turn_deg, mirrored
        The place; where it lies now when ``sheet`` and ``at_mm`` are left out.

    Raises
    ------
    InputError
        When there is no such part, or it lies nowhere.
    """
    from fitkit.job.job_folder import held_job, open_job
    from fitkit.job.settings_edits import with_row, without_row
    from fitkit.job.stock_rows import pinned_row

    layout = read_layout(folder)
    every = [one.part for one in layout.placed()] + list(layout.left_out)
    found = next((one for one in every if part in (one.title, str(one.number))), None)
    if found is None:
        names = ", ".join(f"'{one.title}'" for one in every)
        raise InputError(f"There is no part '{part}' on the sheets.", f"Use one of: {names}.")
    if sheet is not None and at_mm is not None:
        row: dict[str, Any] = {"part": found.title, "sheet": sheet, "copy_number": copy}
        row |= {"at_mm": list(at_mm), "turn_deg": turn_deg, "mirrored": mirrored}
    else:
        lying = layout.sheet_of(found.number)
        if lying is None:
            raise InputError(
                f"'{found.title}' lies on no sheet, so it cannot stay where it is.",
                "Give it room first: a thinner gap, or more stock.",
            )
        if all(one.name != lying.stock.name for one in open_job(folder).settings.stock):
            raise InputError(
                f"'{lying.stock.name}' is not in the stock, only a size in which it is sold.",
                "Add a [[stock]] row for it, run fitkit nest again, then pin the part.",
            )
        place = next(one for one in lying.placed if one.part.number == found.number)
        row = pinned_row(lying, place)
    with held_job(folder, "pin") as job:
        text = job.text
        if any(pin.part == found.title for pin in job.settings.pinned):
            text = without_row(text, "pinned", found.title, key="part")
        words = f"'{found.title}' stays where it lies on '{row['sheet']}'"
        job.with_text(with_row(text, "pinned", row)).keep_text(words)
    return StepReport("pin", ran=True, words=words, files=(job.folder / "job.toml",))


def release_part(folder: Path | str, part: str) -> StepReport:
    """Let a pinned part go: take its row out of ``job.toml``.

    Raises
    ------
    InputError
        When it is not pinned.
    """
    from fitkit.job.job_folder import held_job
    from fitkit.job.settings_edits import without_row

    with held_job(folder, "pin") as job:
        pinned = [pin.part for pin in job.settings.pinned]
        if part not in pinned:
            names = ", ".join(f"'{one}'" for one in pinned)
            raise InputError(f"'{part}' is not pinned.", f"Pinned are: {names or 'no parts'}.")
        words = f"'{part}' may lie elsewhere"
        job.with_text(without_row(job.text, "pinned", part, key="part")).keep_text(words)
    return StepReport("pin", ran=True, words=words, files=(job.folder / "job.toml",))
