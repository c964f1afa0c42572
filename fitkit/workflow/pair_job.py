"""Whether a pair is better made alike or each fitted to its own side: numbers and a picture."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fitkit.workflow.step_report import Progress, part_of

if TYPE_CHECKING:
    from fitkit.flatten.flat_patch import FlatPatch
    from fitkit.job.job_folder import Job

__all__ = ["PairShown", "pair_job"]


@dataclass(frozen=True, slots=True)
class PairShown:
    """How the fitted plate of the other side differs from the mirrored one.

    Attributes
    ----------
    patch, other
        Names of the drawn patch and of the other side's.
    furthest_mm, rms_mm
        Between the outlines laid on each other.
    area_share, length_share
        The other's over the drawn one's, less one.
    picture
        Where the two outlines are drawn on each other.
    parted
        Whether ``job.toml`` now has both.
    """

    patch: str
    other: str
    furthest_mm: float
    rms_mm: float
    area_share: float
    length_share: float
    picture: Path
    parted: bool

    def as_dict(self) -> dict[str, Any]:
        """Return it as plain values for JSON."""
        return {**asdict(self), "picture": str(self.picture)}


def pair_job(
    folder: Path | str, patch: str, *, part: bool = False, progress: Progress | None = None
) -> PairShown:
    """Fit a pair to both sides and show how the two blanks differ; ``part`` keeps both.

    Raises
    ------
    JobError
        When there is no such pair.
    DesignError
        When the mirrored lines do not close a patch on the other side.
    """
    from fitkit.export.pair_picture import png_of_pair
    from fitkit.flatten.pair_difference import pair_difference
    from fitkit.job.fitted_pair_rows import with_fitted_pair
    from fitkit.job.job_folder import held_job, open_job
    from fitkit.job.settings import file_stem
    from fitkit.job.whole_writes import write_whole
    from fitkit.workflow.make_job import make_job

    with_fitted_pair(open_job(folder).text, patch)  # refused before anything is made
    make_job(folder, until="patches", progress=part_of(progress, 0.0, 0.5))
    with held_job(folder, "pair") as job:
        text, other = with_fitted_pair(job.text, patch)
        fitted = job.with_text(text)
        name = " ".join(patch.split())
        drawn_flat, other_flat = _blanks(fitted, (name, other), part_of(progress, 0.5, 1.0))
        found = pair_difference(drawn_flat, other_flat)
        picture = job.folder / "out" / f"{file_stem(name)}-both-sides.png"
        picture.parent.mkdir(exist_ok=True)
        write_whole(picture, png_of_pair(name, found))
        if part:
            fitted.keep_text(f"fitted '{name}' and '{other}' each to its side")
    return PairShown(
        name,
        other,
        found.furthest_mm,
        found.rms_mm,
        found.area_share,
        found.length_share,
        picture,
        part,
    )


def _blanks(
    job: Job, names: tuple[str, str], progress: Progress | None
) -> tuple[FlatPatch, FlatPatch]:
    """Cut both sides' patches from the form that is there, and lay them flat."""
    from fitkit.flatten.flatten_patch import flatten_patch
    from fitkit.geometry.mesh_files import mesh_from_ply
    from fitkit.job.body_files import read_body
    from fitkit.job.designs import line_designs, patch_designs
    from fitkit.job.patch_files import read_tape_lines
    from fitkit.job.result_reading import read_result_bytes
    from fitkit.job.settings import file_stem
    from fitkit.patch.cut_patches import cut_patches
    from fitkit.patch.form import Form
    from fitkit.patch.form_plan import plan_forms
    from fitkit.patch.line_network import lay_tape_lines, lines_below

    folder = job.result_folder("patches")
    plan = next(
        one
        for one in plan_forms(patch_designs(job.settings))
        if names[0] in [design.name for design in one.designs]
    )
    stem = file_stem(f"form {plan.words()}")
    mesh = mesh_from_ply(read_result_bytes(folder, f"{stem}.ply"))
    body = read_body(job.result_folder("body"))
    form = Form(mesh, plan.clearance_mm, body, plan.thickness_mm, plan.bridge_mm)
    designs = [design for design in plan.designs if design.name in names]
    lines = line_designs(job.settings)
    named = {line for design in designs for line in (*design.boundary, *design.seams)}
    wanted = {one.name: one for name in named for one in lines_below(name, lines)}
    kept = {line.name: line for line in read_tape_lines(folder, f"{stem}-lines.json")}
    laid = lay_tape_lines(
        form, tuple(wanted.values()), kept={n: kept[n] for n in wanted if n in kept}
    )
    by_name = {one.design.name: one for one in cut_patches(form, laid, designs)}
    first = flatten_patch(by_name[names[0]], progress=part_of(progress, 0.1, 0.5))
    return first, flatten_patch(by_name[names[1]], progress=part_of(progress, 0.5, 1.0))
