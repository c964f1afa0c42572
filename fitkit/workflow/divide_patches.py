"""Dividing a patch by a line and joining two, keeping what was set."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from fitkit.errors import JobError
from fitkit.workflow.drawn_body import draw_body
from fitkit.workflow.step_report import Progress, StepReport

if TYPE_CHECKING:
    from fitkit.geometry.arrays import Floats
    from fitkit.job.job_folder import Job
    from fitkit.patch.design import PatchDesign
    from fitkit.patch.divided import PatchPart

__all__ = ["divided_job", "join_patches", "split_patch"]

# What tells where a patch is; all else is what was set for it.
_PLACE = ("name", "lines", "inside", "more_inside", "radius_mm")


def split_patch(
    folder: Path | str,
    name: str,
    along: str,
    new_name: str,
    *,
    progress: Progress | None = None,
) -> StepReport:
    """Divide a patch along a tape line into itself and a new one, set alike.

    The part with the place inside keeps the name. An edge that a part no longer has loses its
    treatment there; the new edge between them is plain. Relief cuts and what stands on the patch go
    to the part they lie in, what lay over it lies over both. What was corrected on a card piece of
    the whole goes.

    Raises
    ------
    JobError
        When there is no such patch, or the body has not been made.
    DesignError
        When the line does not divide the patch in two.
    """
    from fitkit.job.job_folder import held_job

    with held_job(folder, "patch") as job:
        divided, _ = divided_job(job, name, along, new_name, progress=progress)
        words = f"divided '{name}' along '{along}': the other part is '{new_name}'"
        divided.keep_text(words)
    return StepReport("patch", ran=True, words=words, files=(job.folder / "job.toml",))


def divided_job(
    job: Job, name: str, along: str, new_name: str | None, *, progress: Progress | None = None
) -> tuple[Job, tuple[str, str]]:
    """Return a job with a patch divided along a line, see :func:`split_patch`, and both names.

    Without a new name both parts are called after where they lie: ``"cap upper"``, ``"cap lower"``.
    """
    from fitkit.job.designs import attachment_designs, strap_designs
    from fitkit.job.row_edits import (
        row_values,
        with_changed_row,
        with_renamed_patch,
        without_correction,
    )
    from fitkit.job.settings_edits import with_row
    from fitkit.patch.divided import divided_patch

    job = _with_rims_drawn(job, name)
    design = _design(job, name)
    spelled = _spelled(job, name)
    drawn = draw_body(job, progress=progress)
    placed = [one for one in attachment_designs(job.settings) if one.on == design.name]
    standing = {f"on it: {one.name}": one.at for one in placed}
    standing |= {f"cut {number}": cut.tip for number, cut in enumerate(design.cuts)}
    straps = strap_designs(job.settings)
    standing |= {
        f"end {end} of {strap.name}": strap.at[end]
        for strap in straps
        for end in (0, 1)
        if strap.on[end] == design.name
    }
    old, new = divided_patch(drawn.form, drawn.lines, design, along, standing=standing)
    names = (spelled, new_name or "")
    if new_name is None:
        where = _where(old.middle_mm, new.middle_mm)
        names = (f"{spelled} {where[0]}", f"{spelled} {where[1]}")
    was = row_values(job.text, "patch", name)
    text = without_correction(job.text, spelled)
    told = [_told(part, _with_own_cuts(was, part)) for part in (old, new)]
    text = with_row(text, "patch", {"name": names[1], **told[1]}, behind=spelled)
    text = _with_part(text, name, told[0], was)
    for one in placed:
        if f"on it: {one.name}" in new.standing:
            text = with_changed_row(text, "attachment", one.name, {"on": names[1]})
    for strap in straps:
        ends = [f"end {end} of {strap.name}" in new.standing for end in (0, 1)]
        if any(ends):
            on = [
                names[1] if moved else was_on for moved, was_on in zip(ends, strap.on, strict=True)
            ]
            text = with_changed_row(text, "strap", strap.name, {"on": on})
    for other in job.settings.patch:
        if spelled in other.over:
            under = [row for row in other.over if row != spelled] + [spelled, names[1]]
            text = with_changed_row(text, "patch", other.name, {"over": under})
    if names[0] != spelled:
        text = with_renamed_patch(text, spelled, names[0])
    return job.with_text(text), names


def _with_own_cuts(was: dict[str, Any], part: PatchPart) -> dict[str, Any]:
    """Return a row's values with those of its relief cuts that lie in a part of the patch."""
    cuts = [
        cut for number, cut in enumerate(was.get("cuts", [])) if f"cut {number}" in part.standing
    ]
    rest = {key: value for key, value in was.items() if key != "cuts"}
    return {**rest, "cuts": cuts} if cuts else rest


def _where(first: Floats, second: Floats) -> tuple[str, str]:
    """Return how two places differ most: upper and lower, front and back, or inner and outer.

    Inner is nearer to the wearer's middle.
    """
    apart = first - second
    axis = max(range(3), key=lambda k: abs(apart[k]))
    if axis == 2:
        return ("upper", "lower") if apart[2] > 0 else ("lower", "upper")
    if axis == 1:
        return ("back", "front") if apart[1] > 0 else ("front", "back")
    return ("outer", "inner") if abs(first[0]) > abs(second[0]) else ("inner", "outer")


def join_patches(
    folder: Path | str, name: str, other: str, *, progress: Progress | None = None
) -> StepReport:
    """Make one patch of two that lie beside each other; it keeps the first one's settings.

    Edge treatments of the second go along for the edges that are left. What else was set
    differently for the second is told, since it is lost.

    Raises
    ------
    JobError
        When one of them is not there, or the body has not been made.
    DesignError
        When they have no edge in common.
    """
    from fitkit.job.job_folder import held_job
    from fitkit.job.row_edits import row_values, with_patch_meant, without_correction
    from fitkit.job.settings_edits import without_row
    from fitkit.patch.divided import joined_patches

    with held_job(folder, "patch") as job:
        if _design(job, name).name == _design(job, other).name:
            raise JobError(f"The patch '{name}' cannot be joined with itself.", "Name two patches.")
        job = _with_rims_drawn(job, name, other)
        first, second = _design(job, name), _design(job, other)
        drawn = draw_body(job, progress=progress)
        part = joined_patches(drawn.form, drawn.lines, first, second)
        was, gone = (row_values(job.text, "patch", each) for each in (name, other))
        edges = {**gone.get("edges", {}), **was.get("edges", {})}
        seam = was.get("seam", gone.get("seam"))
        told = _told(part, {**was, "edges": edges, **({} if seam is None else {"seam": seam})})
        text = without_correction(job.text, _spelled(job, name), _spelled(job, other))
        text = without_row(text, "patch", _spelled(job, other))
        text = with_patch_meant(_with_part(text, name, told, was), other, _spelled(job, name))
        words = f"joined '{other}' to '{name}'"
        job.with_text(text).keep_text(words)
    lost = [
        f"{key} {value}"
        for key, value in gone.items()
        if key not in (*_PLACE, "edges", "seam") and was.get(key) != value
    ]
    if lost:
        words += f"; set for '{other}' alone and lost: {', '.join(lost)}"
    return StepReport("patch", ran=True, words=words, files=(job.folder / "job.toml",))


def _design(job: Job, name: str) -> PatchDesign:
    from fitkit.job.designs import patch_designs

    designs = patch_designs(job.settings)
    for design in designs:
        if design.name == " ".join(name.split()):
            return design
    raise JobError(
        f"There is no patch called '{name}' in job.toml.",
        f"Use one of: {', '.join(design.name for design in designs) or 'none there yet'}.",
    )


def _spelled(job: Job, name: str) -> str:
    """Return a patch's name as the file spells it."""
    from fitkit.job.row_edits import row_values

    return str(row_values(job.text, "patch", name)["name"])


def _told(part: PatchPart, was: dict[str, Any]) -> dict[str, Any]:
    """Return the values of a part of a patch: where it is, and what was set and still applies."""
    from fitkit.job.designs import anchor_values_of

    inside = [anchor_values_of(anchor) for anchor in part.inside]
    told: dict[str, Any] = {"lines": list(part.boundary), "inside": inside[0]}
    if len(inside) > 1:
        told["more_inside"] = inside[1:]
    told |= {key: value for key, value in was.items() if key not in (*_PLACE, "edges", "seam")}
    for key in ("hold", "no_cuts"):
        kept = [
            row
            for row in was.get(key, [])
            if not isinstance(row, str) or row in part.lines or (row == "seam" and part.rims > 1)
        ]
        told.pop(key, None)
        if kept:
            told[key] = kept
    named = was.get("seam", [])
    seams = [line for line in ([named] if isinstance(named, str) else named) if line in part.lines]
    if part.rims > 1 and seams:
        told["seam"] = seams[0] if len(seams) == 1 else seams
    edges = {
        line: edge
        for line, edge in was.get("edges", {}).items()
        if line in part.boundary or line == "cut" or (line == "seam" and part.rims > 1)
    }
    if edges:
        told["edges"] = edges
    return told


def _with_part(text: str, name: str, told: dict[str, Any], was: dict[str, Any]) -> str:
    """Return the text with a patch's row told anew; what is told no longer goes."""
    from fitkit.job.row_edits import with_changed_row

    gone = [key for key in was if key not in told and key != "name"]
    changed = {key: value for key, value in told.items() if was.get(key) != value}
    return with_changed_row(text, "patch", name, changed, without=gone, whole=True)


def _with_rims_drawn(job: Job, *names: str) -> Job:
    """Return the job with the rims of round patches drawn as lines that others can meet."""
    from fitkit.job.designs import rim_name
    from fitkit.job.row_edits import row_values, with_changed_row
    from fitkit.job.settings_edits import with_row

    text = job.text
    for name in names:
        was = row_values(text, "patch", name)
        if "radius_mm" not in was:
            continue
        rim = rim_name(_design(job, name).name)
        told: dict[str, Any] = {"lines": [rim]}
        if "rim" in was.get("edges", {}):
            told["edges"] = {rim: was["edges"]["rim"], "rim": None}
        text = with_changed_row(text, "patch", name, told, without=["radius_mm"])
        line = {"name": rim, "kind": "round", "centre": was["inside"]}
        text = with_row(text, "line", {**line, "radius_mm": was["radius_mm"]})
    return job.with_text(text)
