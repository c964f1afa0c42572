"""The pad that lies under one patch, over just its place: a row of ``[[padding]]``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from fitkit.errors import JobError
from fitkit.job.job_folder import held_job
from fitkit.workflow.step_report import StepReport

if TYPE_CHECKING:
    from fitkit.job.line_settings import PaddingSection
    from fitkit.job.part_settings import PatchSection
    from fitkit.job.settings import JobSettings

__all__ = ["pad_patch", "pad_under"]


def pad_under(settings: JobSettings, patch: str) -> PaddingSection | None:
    """Return the pad over the place of a patch, None where there is none."""
    row = next((one for one in settings.patch if one.name == patch), None)
    if row is None:
        return None
    place = _place(row)
    same = (one for one in settings.padding if _told(one, *place) == place)
    named = (one for one in settings.padding if one.name == _name(patch))
    return next(same, None) or next(named, None)


def pad_patch(folder: Path | str, patch: str, thickness_mm: float | None) -> StepReport:
    """Lay a pad under a patch as thick as told, or take it away for None.

    It lies where the patch does now: moved lines move it along, other lines for the patch do not.

    Raises
    ------
    JobError
        When there is no such patch, or its lines are not told so that a pad has no border.
    """
    from fitkit.job.row_edits import with_changed_row
    from fitkit.job.settings_edits import with_row, without_row

    with held_job(folder, "padding") as job:
        row = next((one for one in job.settings.patch if one.name == patch), None)
        if row is None:
            raise JobError(f"There is no patch called '{patch}'.", "Name one that is in the job.")
        if not row.lines and row.radius_mm is None:
            raise JobError(
                f"The patch '{patch}' does not say which lines run round it, so its pad has no "
                "edge.",
                "Name its lines, or tell the pad by hand as a [[padding]] row.",
            )
        pad = pad_under(job.settings, patch)
        place = {"thickness_mm": thickness_mm, **_place(row)}
        if thickness_mm is None:
            text = job.text if pad is None else without_row(job.text, "padding", pad.name)
            words = f"took the pad away under the patch '{patch}'"
        elif pad is None:
            text = with_row(job.text, "padding", {"name": _free(job.settings, patch), **place})
            words = f"laid a pad under the patch '{patch}'"
        else:
            told = set(pad.model_dump(exclude_unset=True)) - {"name", "runout_mm", *place}
            text = with_changed_row(
                job.text, "padding", pad.name, place, without=sorted(told), whole=True
            )
            words = f"changed the pad under the patch '{patch}'"
        job.with_text(text).keep_text(words)
    return StepReport("padding", ran=True, words=words, files=(job.folder / "job.toml",))


def _place(row: PatchSection) -> dict[str, Any]:
    """Return what tells the place of a patch, as a pad tells it."""
    if row.radius_mm is not None:
        told = _told(row, "inside", "radius_mm")
        return {"centre": told["inside"], "radius_mm": told["radius_mm"]}
    return _told(row, "lines", "inside")


def _told(row: PatchSection | PaddingSection, *keys: str) -> dict[str, Any]:
    told = row.model_dump(mode="json", exclude_unset=True)
    return {key: told.get(key) for key in keys}


def _name(patch: str) -> str:
    return f"pad under {patch}"


def _free(settings: JobSettings, patch: str) -> str:
    from fitkit.workflow.draw_line import free_name

    return free_name(_name(patch), [one.name for one in settings.padding])
