"""From patches to blanks with their stretch fields."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

from fitkit.workflow.run_step import Made, run_step
from fitkit.workflow.step_report import Progress, StepReport, part_of

if TYPE_CHECKING:
    from fitkit.findings import Finding
    from fitkit.flatten.flat_patch import FlatPatch
    from fitkit.job.job_folder import Job
    from fitkit.job.made_from import FileDigests
    from fitkit.patch.design import PatchDesign

__all__ = ["flatten"]


def flatten(job: Job, *, digests: FileDigests, progress: Progress | None = None) -> StepReport:
    """Lay every patch flat, if stale. Hold the lock."""
    return run_step(
        job, "blanks", lambda told: _blanks(job, digests, told), digests=digests, progress=progress
    )


def _blanks(job: Job, digests: FileDigests, progress: Progress | None) -> Made:
    from fitkit.flatten.seam_match import match_findings, seam_matches
    from fitkit.job.designs import patch_designs
    from fitkit.job.made_from import MadeFrom

    before = MadeFrom.read(job.result_folder("blanks"))
    files: dict[str, bytes] = {}
    findings: list[Finding] = []
    pieces: dict[str, str] = {}
    flats: list[FlatPatch] = []
    taken_over = 0
    designs = patch_designs(job.settings)
    for index, design in enumerate(designs):
        share = part_of(progress, index / len(designs), (index + 0.9) / len(designs))
        piece = _piece(job, design)
        kept = None
        if before is not None and before.pieces.get(design.name) == piece:
            kept = _kept_blank(job, design, digests)
        if kept is not None:
            taken_over += 1
        made, flat = kept or _blank(job, design, share)
        files |= made
        findings += flat.findings
        flats.append(flat)
        pieces[design.name] = piece
    findings += match_findings(flats, seam_matches(flats))
    laid = len(designs) - taken_over
    words = f"{laid} patch{'es' * (laid != 1)} laid flat"
    if taken_over:
        words += f", {taken_over} taken over"
    return Made(files, tuple(findings), words, pieces)


def _piece(job: Job, design: PatchDesign) -> str:
    """Return the digest of all that one blank is made from."""
    from fitkit.job.made_from import MadeFrom, digest_of_value
    from fitkit.job.settings import file_stem
    from fitkit.job.steps import step_named

    record = MadeFrom.read(job.result_folder("patches"))
    stem = file_stem(design.name)
    cut = [record.files[f"{stem}{end}"][1] for end in (".json", ".ply")] if record else []
    made: list[Any] = [design.material, design.thickness_mm, list(design.seams), design.forming]
    made.append(design.ease)
    made += design.hold
    made += _cut_words(job, design)
    made += [
        row.model_dump(mode="json") for row in job.settings.attachment if row.on == design.name
    ]
    return digest_of_value([step_named("blanks").format, cut, made])


def _cut_words(job: Job, design: PatchDesign) -> list[Any]:
    """Return what the patch's row says on relief cuts."""
    from fitkit.job.steps import CUT_WORDS

    section = next(row for row in job.settings.patch if row.name == design.name)
    return [section.model_dump(mode="json")[word] for word in CUT_WORDS]


def _kept_blank(
    job: Job, design: PatchDesign, digests: FileDigests
) -> tuple[dict[str, bytes], FlatPatch] | None:
    from fitkit.job.attachment_files import attachment_file_name
    from fitkit.job.flat_patch_files import read_flat_patch
    from fitkit.job.settings import file_stem
    from fitkit.workflow.attachments import attachment_names

    stem = file_stem(design.name)
    names = [f"{stem}.json", f"{stem}.npz", f"{stem}-strain.png"]
    names += [f"{stem}.cuts{end}" for end in (".json", ".png")]
    names += [attachment_file_name(name) for name in attachment_names(job, design.name)]
    files = job.unchanged_files("blanks", names, digests)
    if files is None:
        return None
    return files, read_flat_patch(job.result_folder("blanks"), design)


def _blank(
    job: Job, design: PatchDesign, progress: Progress | None
) -> tuple[dict[str, bytes], FlatPatch]:
    from fitkit.export.cut_choices_picture import png_of_cut_choices
    from fitkit.export.strain_picture import png_of_strain
    from fitkit.findings import THIS_JOB
    from fitkit.flatten.cut_advice import advice_findings, advise_cuts
    from fitkit.flatten.cut_choice import relief_limit
    from fitkit.flatten.flatten_patch import flatten_patch
    from fitkit.job.cut_choice_files import cut_choice_file
    from fitkit.job.flat_patch_files import flat_patch_files
    from fitkit.job.patch_files import read_patch
    from fitkit.job.settings import file_stem
    from fitkit.workflow.attachments import with_attachments
    from fitkit.workflow.place_cuts import keep_out_places, placed_cuts

    if progress is not None:
        progress(0.0, f"flattening '{design.name}'")
    patch = read_patch(job.result_folder("patches"), design)
    uncut = flatten_patch(patch, progress=part_of(progress, 0.0, 0.3))
    flat = uncut
    if design.cuts:
        flat = flatten_patch(
            patch, cuts=placed_cuts(job, patch), progress=part_of(progress, 0.3, 0.4)
        )
    choices = advise_cuts(
        uncut,
        no_cut_places=keep_out_places(job, patch),
        progress=part_of(progress, 0.4, 1.0),
    )
    advice = advice_findings(design, choices, f"fitkit cut {THIS_JOB} '{design.name}'")
    flat, standing, found = with_attachments(job, patch, flat)
    advice = [] if design.cuts else advice
    flat = replace(flat, findings=(*flat.findings, *advice, *found))
    stem = file_stem(design.name)
    files = {
        **standing,
        f"{stem}-strain.png": png_of_strain(flat),
        f"{stem}.cuts.json": cut_choice_file(choices),
        f"{stem}.cuts.png": png_of_cut_choices(design.name, choices, relief_limit(design)),
    }
    return {**flat_patch_files(flat), **files}, flat
