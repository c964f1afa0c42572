"""The form that a plate is made on, for looking at: quick and coarse where none is made yet."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fitkit.workflow.step_report import Progress

if TYPE_CHECKING:
    from fitkit.geometry.mesh import TriangleMesh
    from fitkit.job.job_folder import Job
    from fitkit.patch.design import PatchDesign

__all__ = ["FormGhost", "form_ghost", "same_form"]

_COARSE_MM = 8.0


@dataclass(frozen=True, slots=True, eq=False)
class FormGhost:
    """A form to look at.

    Attributes
    ----------
    mesh
        Where the middle of the sheet lies.
    words
        Clearance, sheet and bridging.
    made
        Whether it is the form that patches are cut from; else it is a coarse one, without pads and
        plates below.
    of
        What it follows from; another one is another form.
    """

    mesh: TriangleMesh
    words: str
    made: bool
    of: tuple[object, ...]


def form_ghost(
    job: Job, patch: str | None = None, *, progress: Progress | None = None
) -> FormGhost:
    """Return the form of a patch, or with none named the form at the job's clearance.

    Raises
    ------
    JobError
        When the body has not been made.
    DesignError
        When the clearance cannot be used.
    """
    from fitkit.geometry.mesh_files import mesh_from_ply
    from fitkit.job.designs import patch_designs
    from fitkit.job.made_from import FileDigests
    from fitkit.patch.form import grow_form
    from fitkit.workflow.drawn_body import bare_form
    from fitkit.workflow.patches_step import form_file

    design, of = _design(job, patch), _of(job, patch)
    clearance_mm = job.settings.form.room_mm() if design is None else design.clearance_mm or 0.0
    thickness_mm = 0.0 if design is None else design.thickness_mm
    bridge_mm = 0.0 if design is None else design.bridge_mm
    words = f"{clearance_mm:g} mm over the skin"
    words += f", sheet {thickness_mm:g} mm" if thickness_mm > 0 else ""
    words += f", hollows bridged by {bridge_mm:g} mm" if bridge_mm > 0 else ""
    if design is not None and job.state("patches").state == "fresh":
        name = form_file(design, patch_designs(job.settings))
        kept = job.unchanged_files("patches", [name], FileDigests(job.folder))
        if kept is not None:
            return FormGhost(mesh_from_ply(kept[name]), words, made=True, of=of)
    form = grow_form(
        bare_form(job).body,
        clearance_mm=clearance_mm,
        thickness_mm=thickness_mm,
        bridge_mm=bridge_mm,
        cell_mm=_COARSE_MM,
        progress=progress,
    )
    return FormGhost(form.mesh, words, made=False, of=of)


def same_form(ghost: FormGhost, job: Job, patch: str | None) -> bool:
    """Whether the form of a patch, or of the job, is still the one that is looked at."""
    return ghost.of == _of(job, patch)


def _design(job: Job, patch: str | None) -> PatchDesign | None:
    from fitkit.job.designs import patch_designs

    return next((one for one in patch_designs(job.settings) if one.name == patch), None)


def _of(job: Job, patch: str | None) -> tuple[object, ...]:
    from fitkit.job.made_from import MadeFrom

    record = MadeFrom.read(job.result_folder("body"))
    body = "" if record is None else record.result_digest()
    design = _design(job, patch)
    if design is None:
        return body, job.settings.form.room_mm()
    return body, design.clearance_mm, design.thickness_mm, design.bridge_mm, design.over
