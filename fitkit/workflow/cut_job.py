"""Relief cuts by choice: what was advised, and taking a choice up in ``job.toml``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from fitkit.errors import InputError, JobError
from fitkit.workflow.step_report import StepReport

if TYPE_CHECKING:
    from fitkit.flatten.cut_advice import CutChoice
    from fitkit.flatten.patch_halves import PatchHalf
    from fitkit.geometry.arrays import Floats
    from fitkit.job.job_folder import Job
    from fitkit.job.settings import PatchSection

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


def adopt_choice(folder: Path | str, patch: str, number: int) -> StepReport:
    """Write a choice into ``job.toml``; every other line stays as it is.

    Cuts become the patch's ``cuts``; a split becomes a tape line and two patches in place of one.

    Raises
    ------
    InputError
        When there is no such patch or choice.
    JobError
        When nothing has been laid flat yet, or the job would not hold together with it.
    """
    from fitkit.job.job_folder import open_job
    from fitkit.job.settings_edits import with_row_settings

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
    job = open_job(folder)
    with job.locked("cut"):
        if choice.kind == "split":
            text, words = _split(job, patch, choice)
        else:
            cuts = [{"edge": _place(line[0]), "tip": _place(line[-1])} for line in choice.lines_mm]
            text = with_row_settings(job.text, "patch", patch, {"cuts": cuts or None})
            words = f"'{patch}' takes {choice.name}"
        job.with_text(text).keep_text(words)
    return StepReport("cut", ran=True, words=words, files=(job.folder / "job.toml",))


def take_out_cuts(folder: Path | str, patch: str) -> StepReport:
    """Take the relief cuts of a patch out of ``job.toml``.

    Raises
    ------
    JobError
        When there is no such patch.
    """
    from fitkit.job.job_folder import open_job
    from fitkit.job.settings_edits import with_row_settings

    job = open_job(folder)
    words = f"'{patch}' has no relief cuts"
    with job.locked("cut"):
        text = with_row_settings(job.text, "patch", patch, {"cuts": None})
        job.with_text(text).keep_text(words)
    return StepReport("cut", ran=True, words=words, files=(job.folder / "job.toml",))


def _place(point: Floats) -> dict[str, Any]:
    return {"xyz_mm": [round(float(x), 1) for x in point]}


def _split(job: Job, patch: str, choice: CutChoice) -> tuple[str, str]:
    """Return the text with a tape line more and two patches in place of one."""
    from fitkit.flatten.patch_halves import patch_halves
    from fitkit.job.designs import patch_designs
    from fitkit.job.flat_patch_files import read_flat_patch
    from fitkit.job.row_edits import without_correction
    from fitkit.job.settings_edits import with_row, with_row_settings

    section = next(row for row in job.settings.patch if row.name == patch)
    if section.radius_mm is not None:
        raise JobError(
            f"The patch '{patch}' is round and has no lines of its own to split it by.",
            "Draw a round line in its place and make it the patch's line, or take another choice.",
        )
    standing = [row.name for row in job.settings.attachment if row.on == patch]
    if standing:
        raise JobError(
            f"'{standing[0]}' stands on the patch '{patch}', which a split would take away.",
            "Take it out or set it on another patch first, then on one of the halves.",
        )
    if section.cuts:
        raise JobError(
            f"The patch '{patch}' has relief cuts, which a split would leave hanging.",
            f"Take them out first: fitkit cut {job.called} '{patch}' --none",
        )
    design = next(one for one in patch_designs(job.settings) if one.name == patch)
    halves = patch_halves(read_flat_patch(job.result_folder("blanks"), design), choice.lines_mm[0])
    line = f"{patch} split"
    points = [_place(point) for point in _beyond(choice.lines_mm[0])]
    # What was corrected on a card piece of the whole belongs to neither half.
    text = without_correction(job.text, patch)
    text = with_row(text, "line", {"name": line, "kind": "through", "points": points})
    rows = [_half_row(section, half, line) for half in halves]
    whole = section.model_dump(mode="json", exclude_unset=True)
    text = with_row_settings(text, "patch", patch, rows[0])
    second = {key: value for key, value in {**whole, **rows[1]}.items() if value is not None}
    text = with_row(text, "patch", second)
    for other in job.settings.patch:
        if patch in other.over:
            under = [name for name in other.over if name != patch] + [row["name"] for row in rows]
            text = with_row_settings(text, "patch", other.name, {"over": under})
    names = " and ".join(f"'{row['name']}'" for row in rows)
    return text, f"'{patch}' is split into {names} along the new line '{line}'"


def _half_row(section: PatchSection, half: PatchHalf, line: str) -> dict[str, Any]:
    edges = section.model_dump(mode="json", exclude_unset=True).get("edges", {})
    kept = {name: row for name, row in edges.items() if name in half.lines}
    barred = [row for row in section.no_cuts if isinstance(row, str) and row in half.lines]
    places = section.model_dump(mode="json", exclude_unset=True).get("no_cuts", [])
    no_cuts = [*barred, *(row for row in places if not isinstance(row, str))]
    return {
        "name": f"{section.name} {half.where}",
        "lines": [*half.lines, line],
        "inside": _place(half.inside_mm),
        "more_inside": None,
        "hold": [name for name in section.hold if name in half.lines] or None,
        "edges": kept or None,
        "no_cuts": no_cuts or None,
    }


def _beyond(line: Floats) -> Floats:
    """Return a line run on beyond both its ends."""
    import numpy as np

    def on(end: Floats, before: Floats) -> Floats:
        way = end - before
        further: Floats = end + _BEYOND_MM * way / np.linalg.norm(way)
        return further

    return np.vstack([on(line[0], line[1]), line[1:-1], on(line[-1], line[-2])])
