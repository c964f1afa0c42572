"""Tape lines and patches by text: rows added to and taken out of ``job.toml``."""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Literal

from fitkit.errors import InputError
from fitkit.workflow.step_report import StepReport

__all__ = ["add_row", "anchor_values", "list_rows", "remove_row"]

_REMEDY = (
    "Write HEIGHT@BEARING such as 1200@30, LIMB:ALONG@BEARING such as 'left arm:0.5@90', X,Y,Z "
    "in millimetres, or the name of a landmark."
)


def anchor_values(text: str) -> dict[str, Any]:
    """Return a place written in one line as the values of an anchor in ``job.toml``.

    Raises
    ------
    InputError
        When it cannot be read.

    Examples
    --------
    >>> anchor_values("1200@30")
    {'height_mm': 1200.0, 'bearing_deg': 30.0}
    >>> anchor_values("left arm:0.5@90")
    {'axis': 'left arm', 'along': 0.5, 'bearing_deg': 90.0}
    """
    from fitkit.units import parse_length_mm

    text = text.strip()
    try:
        if limb := re.fullmatch(r"([^:@]+):([^:@]+)@([^:@]+)", text):
            axis, along, bearing = limb.groups()
            return {
                "axis": axis.strip(),
                "along": float(along),
                "bearing_deg": float(bearing),
            }
        if level := re.fullmatch(r"([^:@]+)@([^:@]+)", text):
            height, bearing = level.groups()
            return {"height_mm": parse_length_mm(height), "bearing_deg": float(bearing)}
        if re.fullmatch(r"[^,]+,[^,]+,[^,]+", text):
            return {"xyz_mm": [float(part) for part in text.split(",")]}
    except ValueError as error:
        raise InputError(f"'{text}' is not a place on the body.", _REMEDY) from error
    if not text or re.search(r"[@:,]", text):
        raise InputError(f"'{text}' is not a place on the body.", _REMEDY)
    return {"landmark": text}


def add_row(
    folder: Path | str, section: Literal["line", "patch"], values: Mapping[str, Any]
) -> StepReport:
    """Add a tape line or a patch behind those there are; every other line stays as it is.

    Raises
    ------
    JobError
        When the job would not hold together with it; nothing is written then.
    """
    from fitkit.job.job_folder import open_job
    from fitkit.job.settings_edits import with_row

    job = open_job(folder)
    with job.locked(section):
        changed = job.with_text(with_row(job.text, section, values))
        changed.keep_text()
    return StepReport(
        section,
        ran=True,
        words=f"added the {section} '{values['name']}'",
        files=(job.folder / "job.toml",),
    )


def remove_row(folder: Path | str, section: Literal["line", "patch"], name: str) -> StepReport:
    """Take a tape line or a patch out of the job.

    Raises
    ------
    JobError
        When there is none of that name, or a patch still needs the line.
    """
    from fitkit.job.job_folder import open_job
    from fitkit.job.settings_edits import without_row

    job = open_job(folder)
    with job.locked(section):
        changed = job.with_text(without_row(job.text, section, name))
        changed.keep_text()
    return StepReport(
        section,
        ran=True,
        words=f"took out the {section} '{name}'",
        files=(job.folder / "job.toml",),
    )


def list_rows(folder: Path | str, section: Literal["line", "patch"]) -> list[dict[str, Any]]:
    """Return the rows of the section as plain values, without what was left at its default."""
    from fitkit.job.job_folder import open_job

    settings = open_job(folder).settings
    rows = settings.line if section == "line" else settings.patch
    return [row.model_dump(mode="json", exclude_unset=True) for row in rows]
