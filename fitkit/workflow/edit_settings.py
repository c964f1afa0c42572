"""Single settings of ``job.toml`` by hand: the tape list, the sheets' check lengths, the paper."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from fitkit.workflow.step_report import StepReport

__all__ = ["change_setting", "change_settings", "change_tape", "read_job_settings"]


def read_job_settings(folder: Path | str) -> Mapping[str, Any]:
    """Return what ``job.toml`` says as plain values, lengths in millimetres.

    Raises
    ------
    JobError
        When the folder is not a job, or its ``job.toml`` has a fault.
    """
    from fitkit.job.job_folder import open_job

    return open_job(folder).settings.model_dump(mode="json")


def change_setting(
    folder: Path | str, section: str, key: str, value: Any, *, words: str
) -> StepReport:
    """Set one key of a section of ``job.toml``; every other line stays as it is.

    Parameters
    ----------
    value
        A plain value; None takes the key out.
    words
        What that does, for whoever takes it back.

    Raises
    ------
    JobError
        When the job would not hold together with it; nothing is written then.
    """
    return change_settings(folder, section, {key: value}, words=words)


def change_settings(
    folder: Path | str, section: str, values: Mapping[str, Any], *, words: str
) -> StepReport:
    """Set several keys of a section of ``job.toml`` as one change, as :func:`change_setting`."""
    from fitkit.job.job_folder import held_job
    from fitkit.job.settings_edits import with_setting, without_setting

    with held_job(folder, "settings") as job:
        text = job.text
        for key, value in values.items():
            if value is None:
                text = without_setting(text, section, key)
            else:
                text = with_setting(text, section, key, value)
        job.with_text(text).keep_text(words)
    return StepReport("settings", ran=True, words=words, files=(job.folder / "job.toml",))


def change_tape(folder: Path | str, measure: str, length: str) -> StepReport:
    """Set one line of the tape list, with its unit or in millimetres; no length takes it out.

    Raises
    ------
    InputError
        When the length cannot be read.
    JobError
        When the job would not hold together with it; nothing is written then.
    """
    from fitkit.errors import InputError
    from fitkit.units import parse_length_mm

    measure, length = " ".join(measure.split()), length.strip()
    if not measure:
        raise InputError("A line of the tape list has no name.", "Name it, as chest.")
    if not length:
        return change_setting(
            folder, "wearer.tape", measure, None, words=f"took '{measure}' off the tape list"
        )
    parse_length_mm(length)
    return change_setting(
        folder, "wearer.tape", measure, length, words=f"tape list: {measure} {length}"
    )
