"""An offered trim taken into the job: the patch ends at the trim line from then on."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from fitkit.errors import InputError, JobError
from fitkit.workflow.step_report import Progress, StepReport

if TYPE_CHECKING:
    from fitkit.geometry.arrays import Floats
    from fitkit.job.job_folder import Job

__all__ = ["take_trim"]

_SCRAP = "trimmed off"
_BEYOND_MM = 8.0
_POINTS_EVERY_MM = 18.0
_SHORTEST_MM = 10.0


def take_trim(folder: Path | str, patch: str, *, progress: Progress | None = None) -> StepReport:
    """Draw the trim that the last sweep offered for a patch and let the patch end there.

    Raises
    ------
    JobError
        When the joints have not been swept since the last change.
    InputError
        When no trim is offered for that patch.
    DesignError
        When the line does not part the patch.
    """
    import numpy as np

    from fitkit.job.job_folder import held_job
    from fitkit.job.motion_files import read_motion

    with held_job(folder, "trim") as job:
        if job.state("motion").state != "fresh":
            raise JobError(
                "The trims on offer are not of the job as it is now.",
                f"Run: fitkit motion {job.called}",
            )
        offered = {row["patch"]: row for row in read_motion(job.result_folder("motion"))["trims"]}
        if patch not in offered:
            raise InputError(
                f"No trim is offered for '{patch}'.",
                f"Trims are offered for: {', '.join(offered) or 'none'}.",
            )
        row = offered[patch]
        lines = [np.array(line) for line in row["lines_mm"]]
        lines = [line for line in lines if _length_mm(line) > _SHORTEST_MM]
        trimmed, names = job, []
        for line in lines:
            trimmed, name = _trimmed(trimmed, patch, line, np.array(row["inside_mm"]), progress)
            names.append(name)
        told = ", ".join(f"'{name}'" for name in names)
        words = f"'{patch}' ends at {told} now, {row['area_mm2'] / 100:.0f} cm² smaller"
        trimmed.keep_text(words)
    return StepReport("trim", ran=True, words=words, files=(job.folder / "job.toml",))


def _trimmed(
    job: Job, patch: str, line: Floats, inside_mm: Floats, progress: Progress | None
) -> tuple[Job, str]:
    """Return a job with one trim line more and the patch cut back to it, and the line's name."""
    import numpy as np

    from fitkit.geometry.run_on import run_on
    from fitkit.job.row_edits import row_values, with_changed_row
    from fitkit.job.settings_edits import with_row, without_row
    from fitkit.workflow.divide_patches import divided_job

    taken = {row.name for row in job.settings.line}
    number = 1
    name = f"{patch} trim"
    while name in taken:
        number += 1
        name = f"{patch} trim {number}"
    closed = bool(np.linalg.norm(line[0] - line[-1]) < 1e-6)
    points = _evenly(line) if closed else run_on(_evenly(line), _BEYOND_MM)
    values: dict[str, Any] = {"name": name, "kind": "through"}
    if closed:
        values["closed"] = True
        points = points[:-1]
    values["points"] = [_place(point) for point in points]
    text = with_row(job.text, "line", values)
    # What tells the patch must lie in what is left of it.
    text = with_changed_row(text, "patch", patch, {"inside": _place(inside_mm)}, whole=True)
    divided, _ = divided_job(job.with_text(text), patch, name, _SCRAP, progress=progress)
    text = without_row(divided.text, "patch", _SCRAP)
    for row in divided.settings.patch:
        over = row_values(divided.text, "patch", row.name).get("over", [])
        if _SCRAP in over:
            text = with_changed_row(
                text, "patch", row.name, {"over": [one for one in over if one != _SCRAP]}
            )
    for one in divided.settings.attachment:
        if one.on == _SCRAP:  # it stays on the patch, whose next make says that it lies off it
            text = with_changed_row(text, "attachment", one.name, {"on": patch})
    for strap in divided.settings.strap:
        if _SCRAP in strap.on:
            on = [patch if name == _SCRAP else name for name in strap.on]
            text = with_changed_row(text, "strap", strap.name, {"on": on})
    return divided.with_text(text), name


def _evenly(line: Floats) -> Floats:
    """Return points along a line at even ways, about 18 mm apart, its ends kept."""
    import numpy as np

    ways = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))])
    count = max(round(float(ways[-1]) / _POINTS_EVERY_MM), 3)
    at = np.linspace(0.0, ways[-1], count + 1)
    return np.stack([np.interp(at, ways, line[:, k]) for k in range(3)], axis=1)


def _length_mm(line: Floats) -> float:
    import numpy as np

    return float(np.linalg.norm(np.diff(line, axis=0), axis=1).sum())


def _place(point: Floats) -> dict[str, Any]:
    return {"xyz_mm": [round(float(value), 1) for value in point]}
