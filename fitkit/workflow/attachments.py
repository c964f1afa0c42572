"""What stands on the plates: developed with the plate's blank, drawn after all patches."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from fitkit.workflow.place_cuts import points_on_patch

if TYPE_CHECKING:
    from fitkit.findings import Finding
    from fitkit.flatten.attachment_seat import PlateSeat
    from fitkit.flatten.flat_patch import FlatMount, FlatPatch
    from fitkit.job.job_folder import Job
    from fitkit.patch.patch import Patch
    from fitkit.template.template import Template

__all__ = ["attachment_drawings", "attachment_names", "with_attachments"]


def attachment_names(job: Job, patch: str) -> list[str]:
    """Return the names of the attachments that stand on a patch."""
    return [row.name for row in job.settings.attachment if row.on == patch]


def with_attachments(
    job: Job, patch: Patch, flat: FlatPatch
) -> tuple[FlatPatch, dict[str, bytes], list[Finding]]:
    """Return a blank with the places of its attachments, their files, and what was noticed.

    Raises
    ------
    DesignError
        When one does not stand on the patch all round.
    """
    from fitkit.job.designs import attachment_designs

    standing = [one for one in attachment_designs(job.settings) if one.on == patch.design.name]
    if not standing:
        return flat, {}, []
    from fitkit.flatten.attachment_seat import mount_findings
    from fitkit.flatten.develop_attachment import develop_attachment
    from fitkit.job.attachment_files import attachment_file, attachment_file_name

    mounts = []
    files: dict[str, bytes] = {}
    findings: list[Finding] = []
    places = points_on_patch(job, patch, [one.at for one in standing])
    for design, at in zip(standing, places, strict=True):
        blank, seat = develop_attachment(design, patch.mesh, at, patch.design.thickness_mm)
        mount = _mount(flat, seat)
        mounts.append(mount)
        findings += mount_findings(patch.design.name, mount, seat)
        files[attachment_file_name(design.name)] = attachment_file(blank)
        findings += blank.findings
    return replace(flat, mounts=tuple(mounts)), files, findings


def _mount(flat: FlatPatch, seat: PlateSeat) -> FlatMount:
    import numpy as np

    from fitkit.flatten.flat_patch import FlatMount
    from fitkit.flatten.form_to_flat import on_flat
    from fitkit.geometry.nearest import nearest_on_mesh

    points = np.vstack([seat.footprint_mm, seat.holes_mm, seat.up_mm[None]])
    on_form, faces, _ = nearest_on_mesh(flat.form, points)
    laid = on_flat(flat.form, flat.flat_mm, on_form, faces)
    count = len(seat.footprint_mm)
    return FlatMount(seat.name, laid[:count], laid[count:-1], seat.hole_mm, laid[-1])


def attachment_drawings(job: Job) -> list[Template]:
    """Return the templates of all attachments, numbered on from those of the patches."""
    from fitkit.job.attachment_files import read_attachment
    from fitkit.job.designs import attachment_designs, patch_designs
    from fitkit.template.attachment_template import attachment_templates

    patches = {design.name: design for design in patch_designs(job.settings)}
    number = 1 + sum(2 if design.paired else 1 for design in patches.values())
    drawn: list[Template] = []
    for design in attachment_designs(job.settings):
        plate = patches[design.on]
        made = attachment_templates(
            read_attachment(job.result_folder("blanks"), design),
            number=number,
            side=plate.side,
            paired=plate.paired,
            job_name=job.settings.job.name,
            wearer=job.settings.wearer.name,
            revision=job.settings.job.revision,
        )
        number += len(made)
        drawn += made
    return drawn
