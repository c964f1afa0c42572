"""The stock of a job by hand: rows of sheets added and taken out."""

from __future__ import annotations

import os
from collections.abc import Container, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fitkit.errors import InputError
from fitkit.workflow.step_report import StepReport

if TYPE_CHECKING:
    from fitkit.job.job_folder import Job

__all__ = ["add_stock", "remove_stock"]


def add_stock(folder: Path | str, values: Mapping[str, Any]) -> StepReport:
    """Add a row of stock behind those there are.

    Parameters
    ----------
    values
        As in a ``[[stock]]`` row; without a name it is named by what it is.

    Raises
    ------
    JobError
        When the job would not hold together with it; nothing is written then.
    """
    from fitkit.job.job_folder import held_job
    from fitkit.job.settings_edits import with_row

    with held_job(folder, "stock") as job:
        name = str(values.get("name") or f"{values['material']} {values['thickness_mm']:g} mm")
        named = _free_name(name, {row.name for row in job.settings.stock})
        words = f"stock: {named}"
        text = with_row(job.text, "stock", {**values, "name": named})
        job.with_text(text).keep_text(words)
    return StepReport("stock", ran=True, words=words, files=(job.folder / "job.toml",))


def remove_stock(folder: Path | str, name: str) -> StepReport:
    """Take a row of stock out.

    Raises
    ------
    JobError
        When there is none of that name.
    """
    from fitkit.job.job_folder import held_job
    from fitkit.job.settings_edits import without_row

    with held_job(folder, "stock") as job:
        words = f"took '{name}' off the stock"
        job.with_text(without_row(job.text, "stock", name)).keep_text(words)
    return StepReport("stock", ran=True, words=words, files=(job.folder / "job.toml",))


def add_offcuts(folder: Path | str, other: Path | str) -> StepReport:
    """Put the offcuts of another job's sheets into this job's stock, before what it has.

    Those it has from that very folder already are taken out first: the other job may be laid out
    anew. What other jobs left, of the same name even, stays. Either folder may have been moved.

    Raises
    ------
    InputError
        When it is the same job.
    JobError
        When the other job has nothing laid out yet.
    """
    from fitkit.job.cut_list_files import offcut_row
    from fitkit.job.folder_id import folder_id
    from fitkit.job.job_folder import held_job, open_job
    from fitkit.job.settings_edits import with_row, without_row
    from fitkit.sheets.offcuts import offcuts_of
    from fitkit.workflow.nest_job import read_layout

    source = open_job(other)
    with held_job(folder, "stock") as job:
        if source.folder.samefile(job.folder):
            raise InputError(
                f"{job.called} cannot be laid on what it leaves over itself.",
                "Name another job, one that has been cut: --offcuts-of OTHER",
            )
        offcuts = offcuts_of(read_layout(other), source.settings.nest.offcut_mm)
        known_by = folder_id(source.folder)
        own = _ways_to(source.folder, known_by, job)
        text, taken = job.text, set()
        for row in job.settings.stock:
            if (row.left_by, row.left_by_id) in own:
                text = without_row(text, "stock", row.name)
            else:
                taken.add(row.name)
        rows = []
        for offcut in offcuts:
            values = offcut_row(offcut.stock)
            values["name"] = _free_name(f"{values['name']}, {source.settings.job.name}", taken)
            values["left_by"] = _way_to(source.folder, job.folder)
            if known_by:
                values["left_by_id"] = known_by
            taken.add(values["name"])
            rows.append(values)
        for values in reversed(rows):
            text = with_row(text, "stock", values, first=True)
        count = len(offcuts)
        words = f"{count} offcut{'s' * (count != 1)} of '{source.settings.job.name}' put into stock"
        ran = text != job.text
        job.with_text(text).keep_text(words)
    return StepReport("stock", ran=ran, words=words, files=(job.folder / "job.toml",))


def _free_name(name: str, taken: Container[str]) -> str:
    """Return a name, or the first with a number behind it that is not taken yet."""
    named, number = name, 2
    while named in taken:
        named, number = f"{name} {number}", number + 1
    return named


def _ways_to(source: Path, known_by: str, job: Job) -> set[tuple[str | None, str | None]]:
    """Return by which ``left_by`` and ``left_by_id`` rows of a job's stock come from a folder."""
    from fitkit.job.folder_id import kept_folder_id

    own: set[tuple[str | None, str | None]] = set()
    gone: set[tuple[str | None, str | None]] = set()
    for row in job.settings.stock:
        # Of another id it was left by what stood there before.
        if not row.left_by or (row.left_by_id and row.left_by_id != known_by):
            continue
        at = (job.folder / row.left_by).resolve()
        if at == source:
            own.add((row.left_by, row.left_by_id))
        elif row.left_by_id and kept_folder_id(at) != known_by:
            gone.add((row.left_by, row.left_by_id))
    # A copy has the id of what it was copied from; where both have been moved none can be told.
    return own or (gone if len(gone) == 1 else set())


def _way_to(other: Path, folder: Path) -> str:
    """Return where a folder is, seen from another; in full where no way leads there."""
    try:
        return Path(os.path.relpath(other, folder)).as_posix()
    except ValueError:  # on another drive
        return other.as_posix()
