"""The form that a plate is made on, for looking at: quick and coarse where none is made yet."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fitkit.workflow.step_report import Progress

if TYPE_CHECKING:
    from fitkit.geometry.mesh import TriangleMesh
    from fitkit.job.job_folder import Job
    from fitkit.patch.design import PatchDesign

__all__ = ["FormGhost", "form_ghost"]

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
    """

    mesh: TriangleMesh
    words: str
    made: bool


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

    designs = patch_designs(job.settings)
    design = next((one for one in designs if one.name == patch), None)
    if design is not None and job.state("patches").state == "fresh":
        name = form_file(design, designs)
        kept = job.unchanged_files("patches", [name], FileDigests(job.folder))
        if kept is not None:
            return FormGhost(mesh_from_ply(kept[name]), _words(design), made=True)
    clearance_mm, thickness_mm, bridge_mm = job.settings.form.room_mm(), 0.0, 0.0
    if design is not None:
        clearance_mm, thickness_mm = design.clearance_mm or 0.0, design.thickness_mm
        bridge_mm = design.bridge_mm
    form = grow_form(
        bare_form(job).body,
        clearance_mm=clearance_mm,
        thickness_mm=thickness_mm,
        bridge_mm=bridge_mm,
        cell_mm=_COARSE_MM,
        progress=progress,
    )
    words = f"{clearance_mm:g} mm over the skin" if design is None else _words(design)
    return FormGhost(form.mesh, words, made=False)


def _words(design: PatchDesign) -> str:
    told = f"{design.clearance_mm or 0.0:g} mm over the skin, sheet {design.thickness_mm:g} mm"
    return told + (f", bridged by {design.bridge_mm:g} mm" if design.bridge_mm > 0 else "")
