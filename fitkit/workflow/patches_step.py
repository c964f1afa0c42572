"""From the body and the maker's tape lines to patches of the form."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from fitkit.errors import JobError
from fitkit.workflow.run_step import Made, run_step
from fitkit.workflow.step_report import Progress, StepReport, part_of

if TYPE_CHECKING:
    from fitkit.body.body import Body
    from fitkit.findings import Finding
    from fitkit.geometry.arrays import Floats
    from fitkit.job.job_folder import Job
    from fitkit.job.made_from import FileDigests
    from fitkit.patch.cut_patches import CutForm
    from fitkit.patch.design import PatchDesign, TapeLineDesign
    from fitkit.patch.form import Form, FormGrower
    from fitkit.patch.form_plan import FormPlan
    from fitkit.patch.patch import Patch
    from fitkit.patch.tape_line import TapeLine

__all__ = ["form_file", "patches"]


def patches(job: Job, *, digests: FileDigests, progress: Progress | None = None) -> StepReport:
    """Grow the forms, lay the tape lines and cut the patches, if stale. Hold the lock."""
    if not job.settings.patch:
        raise JobError(
            f"No patches are drawn in '{job.folder.name}' yet.",
            "Add [[line]] and [[patch]] sections to job.toml.",
        )
    return run_step(
        job,
        "patches",
        lambda told: _patches(job, digests, told),
        digests=digests,
        progress=progress,
    )


def form_file(design: PatchDesign, designs: Sequence[PatchDesign]) -> str:
    """Return the file of the result that holds the form of one patch of a design."""
    from fitkit.patch.form_plan import plan_forms

    return f"{_stem(next(plan for plan in plan_forms(designs) if design in plan.designs))}.ply"


def _patches(job: Job, digests: FileDigests, progress: Progress | None) -> Made:
    from fitkit.job.designs import patch_designs
    from fitkit.job.patch_files import patch_files
    from fitkit.patch.form_plan import plan_forms

    designs = patch_designs(job.settings)
    plans = plan_forms(designs)
    work = _FormWork(job, digests, plans)
    for index, plan in enumerate(plans):
        start, end = 0.95 * index / len(plans), 0.95 * (index + 1) / len(plans)
        work.cut(plan, part_of(progress, start, end))
    for design in designs:
        work.files |= patch_files(work.patches[design.name])
    findings = tuple(one for design in designs for one in work.patches[design.name].findings)
    words = f"{len(designs)} patches on {len(plans)} form{'s' * (len(plans) > 1)}"
    if work.taken_over:
        words += f", {work.taken_over} taken over"
    return Made(work.files, (*work.noticed, *findings), words, work.pieces)


class _FormWork:
    """The forms of a job, one after the other; what did not change is taken from the last result.

    Attributes
    ----------
    files, pieces
        For :class:`fitkit.workflow.run_step.Made`.
    patches
        Those cut so far, by name.
    taken_over
        How many forms were as before.
    noticed
        Findings about the design as a whole.
    """

    def __init__(self, job: Job, digests: FileDigests, plans: tuple[FormPlan, ...]) -> None:
        from fitkit.job.body_files import read_body
        from fitkit.job.designs import line_designs
        from fitkit.job.made_from import MadeFrom

        self.files: dict[str, bytes] = {}
        self.pieces: dict[str, str] = {}
        self.patches: dict[str, Patch] = {}
        self.taken_over = 0
        self.noticed: tuple[Finding, ...] = ()
        self._job = job
        self._digests = digests
        self._plans = plans
        self._designs = [design for plan in plans for design in plan.designs]
        self._body: Body = read_body(job.result_folder("body"))
        self._lines: tuple[TapeLineDesign, ...] = line_designs(job.settings)
        self._before = MadeFrom.read(job.result_folder("patches"))
        self._growers: dict[tuple[str, ...], FormGrower] = {}
        self._padding: Floats | None = None
        self._all_laid: tuple[TapeLine, ...] = ()

    def cut(self, plan: FormPlan, progress: Progress | None) -> None:
        """Make one form, its lines and its patches."""
        from fitkit.geometry.mesh_files import ply_bytes
        from fitkit.job.patch_files import tape_line_files
        from fitkit.patch.cut_patches import cut_form
        from fitkit.patch.pair_findings import pair_findings

        stem = _stem(plan)
        form = self._form(plan, stem, part_of(progress, 0.0, 0.3))
        lines = self._laid(plan, stem, form, part_of(progress, 0.3, 0.6))
        found = cut_form(
            form,
            lines,
            plan.designs,
            others=[design for design in self._designs if design not in plan.designs],
            progress=part_of(progress, 0.6, 1.0),
        )
        for patch in found.patches:
            noticed = (*patch.findings, *pair_findings(patch, form))
            self.patches[patch.design.name] = replace(patch, findings=noticed)
        self.files[f"{stem}.ply"] = ply_bytes(form.mesh)
        self.files[f"{stem}-lines.json"] = tape_line_files(lines)
        self.files |= _pictures(self._job, lines, found, stem, first=plan is self._plans[0])

    def _form(self, plan: FormPlan, stem: str, progress: Progress | None) -> Form:
        from fitkit.geometry.mesh_files import mesh_from_ply
        from fitkit.patch.form import Form

        name = f"{stem}.ply"
        self.pieces[stem] = self._digest_of_form(plan)
        if self._holds(stem):
            kept = self._job.unchanged_files("patches", [name], self._digests)
            if kept is not None:
                self.taken_over += 1
                return Form(
                    mesh_from_ply(kept[name]),
                    plan.clearance_mm,
                    self._body,
                    plan.thickness_mm,
                    plan.bridge_mm,
                )
        if progress is not None:
            progress(0.0, f"growing the form by {plan.words()}")
        return self._grower(plan).grow(
            plan.clearance_mm,
            thickness_mm=plan.thickness_mm,
            bridge_mm=plan.bridge_mm,
            progress=progress,
        )

    def _grower(self, plan: FormPlan) -> FormGrower:
        from fitkit.patch.form import FormGrower
        from fitkit.patch.layers import lifted_mm

        if plan.over not in self._growers:
            body = self._body
            raised = self._raised_by_padding()
            if plan.over:
                lower = [self.patches[name] for name in plan.over]
                raised = lifted_mm(
                    body,
                    raised,
                    lower,
                    clearance_mm=plan.clearance_mm,
                    play_mm=self._job.settings.form.play_mm,
                )
            furthest = max(one.distance_mm for one in self._plans if one.over == plan.over)
            self._growers[plan.over] = FormGrower(body, raised_mm=raised, furthest_mm=furthest)
        return self._growers[plan.over]

    def _raised_by_padding(self) -> Floats | None:
        if self._padding is None and self._job.settings.padding:
            from fitkit.job.designs import padding_designs
            from fitkit.patch.padded_region import padded_region
            from fitkit.patch.padding import padding_mm

            self._padding = padding_mm(
                self._body,
                padding_designs(self._job.settings),
                region_on_body=lambda place: padded_region(self._body, self._lines, place),
            )
        return self._padding

    def _laid(
        self, plan: FormPlan, stem: str, form: Form, progress: Progress | None
    ) -> tuple[TapeLine, ...]:
        from fitkit.job.made_from import digest_of_value
        from fitkit.job.patch_files import read_tape_lines
        from fitkit.patch.line_network import lay_tape_lines, lines_below
        from fitkit.patch.lines_for_patches import lines_for_patches

        wanted = self._lines
        if self._all_laid:
            apart_mm = abs(plan.distance_mm - self._plans[0].distance_mm)
            wanted = lines_for_patches(wanted, plan.designs, self._all_laid, apart_mm=apart_mm)
        name = f"{stem}-lines.json"
        kept: dict[str, TapeLine] = {}
        for line in wanted:
            made_of = [repr(one) for one in lines_below(line.name, self._lines)]
            self.pieces[f"{stem}: {line.name}"] = digest_of_value([self.pieces[stem], made_of])
        if self._job.unchanged_files("patches", [name], self._digests) is not None:
            before = read_tape_lines(self._job.result_folder("patches"), name)
            kept = {line.name: line for line in before if self._holds(f"{stem}: {line.name}")}
        lines = lay_tape_lines(form, wanted, kept=kept, progress=progress)
        if plan is self._plans[0]:
            self._all_laid = lines
            self.files |= self._drawn_on(form, lines)
        return lines

    def _drawn_on(self, form: Form, lines: tuple[TapeLine, ...]) -> dict[str, bytes]:
        """Return the landmarks that the design was drawn on.

        As long as lines and patches stay as they are while the body changes under them, that is
        the body before.
        """
        from fitkit.job.drawn_on_files import DRAWN_ON, drawn_on_file, read_drawn_on
        from fitkit.job.made_from import digest_of_value
        from fitkit.patch.drawn_on import drawn_on, moved_findings

        drawn = [(one.name, one.boundary, one.inside) for one in self._designs]
        design = digest_of_value([repr(self._lines), repr(drawn)])
        kept = self._job.unchanged_files("patches", [DRAWN_ON], self._digests)
        if kept is not None:
            before, drawn_then = read_drawn_on(self._job.result_folder("patches"))
            if drawn_then == design:
                self.noticed += moved_findings(before, self._body.landmarks)
                return kept
        return {DRAWN_ON: drawn_on_file(drawn_on(form, self._lines, lines), design)}

    def _holds(self, piece: str) -> bool:
        """Whether a piece of the last result was made from the same."""
        before = self._before
        return before is not None and before.pieces.get(piece) == self.pieces.get(piece, "")

    def _digest_of_form(self, plan: FormPlan) -> str:
        from fitkit.job.made_from import MadeFrom, digest_of_value
        from fitkit.job.patch_files import patch_files
        from fitkit.job.steps import step_named

        settings = self._job.settings
        body = MadeFrom.read(self._job.result_folder("body"))
        drawn = (
            [repr(line) for line in self._lines] if any(p.lines for p in settings.padding) else []
        )
        under = [
            (
                [hashlib.sha256(content).hexdigest() for content in patch_files(patch).values()],
                repr(patch.design),
            )
            for patch in (self.patches[name] for name in plan.over)
        ]
        return digest_of_value(
            [
                step_named("patches").format,
                body.result_digest() if body is not None else "",
                [pad.model_dump(mode="json") for pad in settings.padding],
                drawn,
                [plan.clearance_mm, plan.thickness_mm, plan.bridge_mm],
                under,
                settings.form.play_mm if plan.over else 0.0,
            ]
        )


def _stem(plan: FormPlan) -> str:
    from fitkit.job.settings import file_stem

    return file_stem(f"form {plan.words()}")


def _pictures(
    job: Job, lines: tuple[TapeLine, ...], found: CutForm, stem: str, *, first: bool
) -> dict[str, bytes]:
    """Return the pictures of one form; the first form's are the ones that overviews show."""
    from fitkit.job.designs import part_number_words, patch_designs
    from fitkit.workflow.patches_picture import png_of_cut

    numbers = part_number_words(patch_designs(job.settings))
    if not first:
        name = f"patches-{stem.removeprefix('form-')}.png"
        return {name: png_of_cut(found, lines, numbers, height_px=560)}
    return {
        "patches.png": png_of_cut(found, lines, numbers),
        "front.png": png_of_cut(found, lines, numbers, views=("front",), height_px=560),
    }
