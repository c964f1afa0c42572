"""What is asked of the joints, and of the plates that ride on them, told in ``job.toml``."""

from __future__ import annotations

from pathlib import Path

from fitkit.units import parse_number
from fitkit.workflow.edit_settings import change_setting, read_job_settings
from fitkit.workflow.step_report import StepReport

__all__ = ["keep_untrimmed", "ride_on", "want_angle", "want_need"]

_SECTION = "motion"


def want_need(folder: Path | str, need: str, *, wanted: bool) -> StepReport:
    """Ask for a need, or no longer.

    Raises
    ------
    JobError
        When the job would not hold together with it; nothing is written then.
    """
    needs = _with(read_job_settings(folder)[_SECTION]["needs"], need, wanted)
    words = f"'{need}' is {'wanted' if wanted else 'not wanted any more'}"
    return change_setting(folder, _SECTION, "needs", needs or None, words=words)


def want_angle(folder: Path | str, movement: str, degrees: str) -> StepReport:
    """Ask how far a movement is to go, in degrees; without a number it goes by needs and norms.

    Raises
    ------
    InputError
        When it is no number.
    JobError
        When the job would not hold together with it; nothing is written then.
    """
    if not degrees.strip():
        return change_setting(
            folder, "motion.wanted", movement, None, words=f"the {movement} goes by the norm"
        )
    angle = parse_number(degrees, sign="°", what=f"angle of the {movement}", example="120")
    return change_setting(
        folder, "motion.wanted", movement, angle, words=f"the {movement} wanted to {angle:g}°"
    )


def keep_untrimmed(folder: Path | str, patch: str, *, keep: bool) -> StepReport:
    """Refuse every trim of a patch, or let it be trimmed again.

    Raises
    ------
    JobError
        When the job would not hold together with it; nothing is written then.
    """
    kept = _with(read_job_settings(folder)[_SECTION]["keep"], patch, keep)
    words = f"the '{patch}' is {'not to be' if keep else 'free to be'} trimmed"
    return change_setting(folder, _SECTION, "keep", kept or None, words=words)


def ride_on(folder: Path | str, patch: str, segment: str) -> StepReport:
    """Tell what a patch is fastened to; an empty segment leaves it to where it lies.

    Raises
    ------
    JobError
        When the job would not hold together with it; nothing is written then.
    """
    words = f"the '{patch}' rides on {segment or 'what it lies on'}"
    return change_setting(folder, "motion.rides", patch, segment or None, words=words)


def _with(names: list[str], name: str, wanted: bool) -> list[str]:
    rest = [one for one in names if one != name]
    return [*rest, name] if wanted else rest
