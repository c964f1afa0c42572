"""Relief cuts by choice: what was advised, and taking a choice up in ``job.toml``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from fitkit.errors import InputError, JobError
from fitkit.workflow.step_report import Progress, StepReport

if TYPE_CHECKING:
    from fitkit.flatten.cut_choice import CutChoice
    from fitkit.geometry.arrays import Floats
    from fitkit.job.job_folder import Job

__all__ = ["adopt_choice", "advised_choices", "take_out_cuts"]

# A line that parts a patch runs on beyond its edges by this much, to be sure to cross them.
_BEYOND_MM = 5.0


def advised_choices(folder: Path | str) -> dict[str, tuple[CutChoice, ...]]:
    """Return the choices of every patch by name, as the last flattening weighed them.

    Raises
    ------
    JobError
        When nothing has been laid flat yet.
    """
    from fitkit.job.cut_choice_files import read_cut_choices
    from fitkit.job.job_folder import open_job
    from fitkit.job.made_from import MadeFrom

    job = open_job(folder)
    if MadeFrom.read(job.result_folder("blanks")) is None:
        raise JobError(
            f"Nothing of '{job.called}' has been laid flat yet.",
            f"Run: fitkit flatten {job.called}",
        )
    blanks = job.result_folder("blanks")
    return {patch.name: read_cut_choices(blanks, patch.name) for patch in job.settings.patch}


def adopt_choice(
    folder: Path | str, patch: str, number: int, *, progress: Progress | None = None
) -> StepReport:
    """Write a choice into ``job.toml``; every other line stays as it is.

    Cuts become the patch's ``cuts``; a split becomes a tape line and two patches in place of one,
    see :func:`fitkit.workflow.divide_patches.split_patch`.

    Raises
    ------
    InputError
        When there is no such patch or choice.
    JobError
        When nothing has been laid flat yet, or the job would not hold together with it.
    DesignError
        When the line of a split does not divide the patch in two.
    """
    from fitkit.job.job_folder import held_job
    from fitkit.job.row_edits import with_changed_row

    choices = advised_choices(folder)
    if patch not in choices:
        raise InputError(
            f"There is no patch called '{patch}'.", f"Use one of: {', '.join(choices)}."
        )
    if not 1 <= number <= len(choices[patch]):
        raise InputError(
            f"The patch '{patch}' has no choice {number}.",
            f"Give a number from 1 to {len(choices[patch])}: fitkit cut shows them.",
        )
    choice = choices[patch][number - 1]
    with held_job(folder, "cut") as job:
        if choice.kind == "split":
            changed, words = _split(job, patch, choice, progress)
        else:
            cuts = [{"edge": _place(line[0]), "tip": _place(line[-1])} for line in choice.lines_mm]
            text = with_changed_row(job.text, "patch", patch, {"cuts": cuts or None})
            changed, words = job.with_text(text), f"'{patch}' takes {choice.name}"
        changed.keep_text(words)
    return StepReport("cut", ran=True, words=words, files=(job.folder / "job.toml",))


def take_out_cuts(folder: Path | str, patch: str) -> StepReport:
    """Take the relief cuts of a patch out of ``job.toml``.

    Raises
    ------
    JobError
        When there is no such patch.
    """
    from fitkit.job.job_folder import held_job
    from fitkit.job.row_edits import with_changed_row

    with held_job(folder, "cut") as job:
        words = f"'{patch}' has no relief cuts"
        text = with_changed_row(job.text, "patch", patch, {"cuts": None})
        job.with_text(text).keep_text(words)
    return StepReport("cut", ran=True, words=words, files=(job.folder / "job.toml",))


def _place(point: Floats) -> dict[str, Any]:
    return {"xyz_mm": [round(float(x), 1) for x in point]}


def _split(job: Job, patch: str, choice: CutChoice, progress: Progress | None) -> tuple[Job, str]:
    """Return the job with a tape line more and two patches in place of one."""
    from fitkit.geometry.run_on import run_on
    from fitkit.job.settings_edits import with_row
    from fitkit.workflow.divide_patches import divided_job

    line = f"{patch} split"
    points = [_place(point) for point in run_on(choice.lines_mm[0], _BEYOND_MM)]
    lined = with_row(job.text, "line", {"name": line, "kind": "through", "points": points})
    divided, names = divided_job(job.with_text(lined), patch, line, None, progress=progress)
    told = " and ".join(f"'{name}'" for name in names)
    return divided, f"'{patch}' is split into {told} along the new line '{line}'"
