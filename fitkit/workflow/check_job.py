"""Every finding of a job, nothing run."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fitkit.findings import Finding, Severity
from fitkit.workflow.run_step import same_findings_once

if TYPE_CHECKING:
    from fitkit.job.job_folder import Job
    from fitkit.job.made_from import StepState

__all__ = ["JobCheck", "check_job"]


@dataclass(frozen=True, slots=True)
class JobCheck:
    """What a check found.

    Attributes
    ----------
    states
        Every step of the job in order; one made on request only where it has been made.
    findings
        Those of ``job.toml`` first, then those of every result.
    """

    states: tuple[StepState, ...]
    findings: tuple[Finding, ...]

    def as_dict(self) -> dict[str, Any]:
        """Return the check as plain values for JSON."""
        return {
            "steps": [
                {"step": state.step, "state": state.state, "reasons": list(state.reasons)}
                for state in self.states
            ],
            "findings": [finding.as_dict() for finding in self.findings],
        }


def check_job(folder: Path | str) -> JobCheck:
    """Return the state of every step and every finding that stands; changes nothing.

    Raises
    ------
    JobError
        When the folder is not a job.
    """
    from fitkit.job.job_folder import job_problems, open_job
    from fitkit.job.made_from import FileDigests
    from fitkit.job.steps import step_named, steps_before

    problems = job_problems(folder)
    if problems:
        findings = tuple(
            Finding("job-toml", Severity.STOP, problem.place(), problem.cause, problem.remedy)
            for problem in problems
        )
        return JobCheck((), findings)
    job = open_job(folder)
    digests = FileDigests(job.folder)
    found = list(_settings_findings(job))
    states = []
    stale: list[str] = []
    for step in job.steps():
        state = job.state(step, digests)
        if state.state == "missing" and step_named(step).on_request:
            continue
        first = next((name for name in stale if name in steps_before(step)), "")
        if state.state == "fresh" and first:
            state = type(state)(
                state.step, "stale", (f"the {first} is to be made first",), state.record
            )
        states.append(state)
        if state.state != "fresh":
            stale.append(step)
        if state.record is not None:
            found += state.record.findings
    return JobCheck(tuple(states), same_findings_once(found))


def _settings_findings(job: Job) -> list[Finding]:
    from fitkit.materials.sheet_material import sheet_material_named

    found: list[Finding] = []
    for patch in job.settings.patch:
        material = sheet_material_named(patch.material)
        if not any(abs(patch.thickness_mm - t) < 0.03 for t in material.thicknesses_mm):
            held = ", ".join(f"{t:g}" for t in material.thicknesses_mm)
            found.append(
                Finding(
                    "thickness-unusual",
                    Severity.NOTE,
                    patch.name,
                    f"{material.name} of {patch.thickness_mm:g} mm is not what shops usually "
                    f"hold ({held} mm).",
                    number=patch.thickness_mm,
                    unit="mm",
                )
            )
    if not job.photo_paths() and job.from_photos:
        found.append(
            Finding(
                "no-photos",
                Severity.WARNING,
                "photos",
                "The job has no photos yet.",
                f"Give it some with: fitkit scan {job.called} PHOTOS",
            )
        )
    mesh_path = job.mesh_path()
    if mesh_path is not None and not mesh_path.is_file():
        found.append(
            Finding(
                "no-mesh",
                Severity.STOP,
                "[body] from_mesh",
                f"The mesh '{mesh_path.name}' is not in the job folder.",
                "Copy the file there, or take from_mesh out of job.toml to use photos.",
            )
        )
    return found
