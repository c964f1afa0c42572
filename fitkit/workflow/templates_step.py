"""From blanks to templates, numbered in the order of the job."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitkit.workflow.run_step import Made, run_step
from fitkit.workflow.step_report import Progress, StepReport

if TYPE_CHECKING:
    from fitkit.findings import Finding
    from fitkit.job.job_folder import Job
    from fitkit.job.made_from import FileDigests
    from fitkit.template.template import Template

__all__ = ["templates"]


def templates(job: Job, *, digests: FileDigests, progress: Progress | None = None) -> StepReport:
    """Draw every template, mirrored twins included, if stale. Hold the lock."""
    return run_step(
        job,
        "templates",
        lambda told: _templates(job, digests, told),
        digests=digests,
        progress=progress,
    )


def _templates(job: Job, digests: FileDigests, progress: Progress | None) -> Made:
    from fitkit.export.drawing_picture import png_of_drawing
    from fitkit.export.drawing_svg import svg_of_drawing
    from fitkit.job.designs import corrections, part_numbers, patch_designs
    from fitkit.job.flat_patch_files import read_flat_patch
    from fitkit.job.template_files import template_file, template_stem
    from fitkit.template.make_templates import make_templates
    from fitkit.template.mark_numbers import mark_numbers
    from fitkit.template.rivet_joint import rivet_holes
    from fitkit.workflow.artwork import artwork_on
    from fitkit.workflow.fasteners import chosen_findings, laid_fasteners, reach_findings
    from fitkit.workflow.job_plates import JobPlates
    from fitkit.workflow.seats import moving_seats, seats_on
    from fitkit.workflow.straps import laid_straps, straps_picture
    from fitkit.workflow.trim_offers import offered_trims, trims_on

    files: dict[str, bytes] = {}
    findings: list[Finding] = []
    designs = patch_designs(job.settings)
    numbers = part_numbers(designs)
    corrected = corrections(job.settings)
    flats = [read_flat_patch(job.result_folder("blanks"), design) for design in designs]
    rows, remarks = rivet_holes(flats)
    findings += remarks
    marks = mark_numbers(flats)
    plates = JobPlates(job)
    straps = laid_straps(job, plates)
    moving, remarks = moving_seats(job, plates, digests)
    findings += [*(finding for strap in straps for finding in strap.findings), *remarks]
    fasteners = laid_fasteners(job, plates)
    findings += chosen_findings(fasteners)
    findings += reach_findings(plates, fasteners, straps, rows)
    fastened = [seat for strap in straps for seat in strap.seats]
    fastened += [*(seat for one in fasteners for seat in one.seats), *moving]
    seats = {flat.design.name: seats_on(flat, fastened) for flat in flats}
    offered = offered_trims(job, digests)
    every: list[Template] = []
    for index, design in enumerate(designs):
        if progress is not None:
            progress(index / len(designs), f"drawing the template of '{design.name}'")
        art, twin_art, remarks = artwork_on(job, flats[index])
        findings += remarks
        trims, trim_words = trims_on(flats[index], offered)
        every += make_templates(
            flats[index],
            number=numbers[design.name],
            job_name=job.settings.job.name,
            wearer=job.settings.wearer.name,
            revision=job.settings.job.revision,
            correction=corrected.get(design.name),
            rivets=[row for row in rows if row.patch == design.name],
            numbers=marks,
            art_mm=art,
            twin_art_mm=twin_art,
            seats=seats[design.name].drawn,
            twin_seats=seats[design.name].twin,
            trims=trims,
            trim_words=trim_words,
        )
    if job.settings.attachment:
        from fitkit.workflow.attachments import attachment_drawings

        every += attachment_drawings(job)
    if straps or fasteners:
        from fitkit.job.strap_files import strap_files

        picture = straps_picture(plates, straps) if straps else None
        files |= strap_files(straps, fasteners, picture=picture)
    if straps:
        from fitkit.workflow.straps import strap_drawings

        every += strap_drawings(job, straps, number=len(every) + 1)
    if job.settings.pad:
        from fitkit.workflow.pads import laid_pads, pad_drawings

        pads = laid_pads(job, flats, rows, seats)
        findings += [finding for pad in pads for finding in pad.findings]
        every += pad_drawings(job, pads, flats, number=len(every) + 1)
    if job.settings.gusset:
        from fitkit.workflow.gussets import gusset_drawings

        every += gusset_drawings(job, plates, number=len(every) + 1)
    for template in every:
        stem = template_stem(template)
        files[f"{stem}.json"] = template_file(template)
        files[f"{stem}.svg"] = svg_of_drawing(template.drawing)
        files[f"{stem}.png"] = png_of_drawing(template.drawing)
        findings += template.findings
    return Made(files, tuple(findings), f"{len(every)} templates")
