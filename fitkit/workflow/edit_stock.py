"""The stock of a job by hand: rows of sheets added and taken out."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from fitkit.workflow.step_report import StepReport

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
    from fitkit.job.job_folder import open_job
    from fitkit.job.settings_edits import with_row

    job = open_job(folder)
    taken = {row.name for row in job.settings.stock}
    name = str(values.get("name") or f"{values['material']} {values['thickness_mm']:g} mm")
    named, number = name, 2
    while named in taken:
        named, number = f"{name} {number}", number + 1
    words = f"stock: {named}"
    with job.locked("stock"):
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
    from fitkit.job.job_folder import open_job
    from fitkit.job.settings_edits import without_row

    job = open_job(folder)
    words = f"took '{name}' off the stock"
    with job.locked("stock"):
        job.with_text(without_row(job.text, "stock", name)).keep_text(words)
    return StepReport("stock", ran=True, words=words, files=(job.folder / "job.toml",))
