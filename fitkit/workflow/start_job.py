"""Starting a job: the folder and its ``job.toml``."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from fitkit.workflow.step_report import StepReport

__all__ = ["start_job"]


def start_job(
    folder: Path | str,
    *,
    name: str | None = None,
    wearer: str = "",
    tape: Mapping[str, str] | None = None,
    from_tape: str | None = None,
    part: str | None = None,
) -> StepReport:
    """Make a job folder.

    Parameters
    ----------
    folder
        Where; must not exist or be empty.
    name
        What the job is called on every page; the folder's name when not given.
    wearer
        Who wears it.
    tape
        Tape list: length with its unit by what was measured.
    from_tape, part
        Build a stand-in from that list, with the sizes of "men" or "women" for what it leaves out,
        and keep this part of it.

    Raises
    ------
    JobError
        When the folder is taken, or a length cannot be read.
    """
    from fitkit.job.job_folder import create_job
    from fitkit.job.settings_edits import new_job_text, with_setting

    folder = Path(folder).expanduser()
    title = name or folder.resolve().name.replace("-", " ").replace("_", " ").strip()
    text = new_job_text(title or "job", wearer=wearer, tape_mm=tape)
    for key, value in (("from_tape", from_tape), ("tape_part", part if from_tape else None)):
        if value is not None:
            text = with_setting(text, "body", key, value)
    job = create_job(folder, text)
    return StepReport(
        "start",
        ran=True,
        words=f"job '{title}' in {folder}",
        files=(job.folder / "job.toml",),
    )
