"""A patch divided into lames: strips between two of its lines, as lines and patches of the job."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fitkit.errors import InputError, JobError
from fitkit.workflow.drawn_body import draw_body
from fitkit.workflow.step_report import Progress

if TYPE_CHECKING:
    from fitkit.body.body import Body
    from fitkit.geometry.arrays import Floats
    from fitkit.job.job_folder import Job
    from fitkit.motion.lames import LameStrip
    from fitkit.patch.patch import Patch

__all__ = ["LaidLames", "lay_lames"]

_COVER_MM = 6.0
_MANY = 12
_NOT_SHARED = ("name", "lines", "inside", "more_inside", "radius_mm", "over", "edges", "cuts")


@dataclass(frozen=True, slots=True)
class LaidLames:
    """What was laid out: the patches from the first line on, their width and overlap, in words."""

    patches: tuple[str, ...]
    width_mm: float
    overlap_mm: float
    words: str

    def as_dict(self) -> dict[str, Any]:
        """Return it as plain values for JSON."""
        return {
            "patches": list(self.patches),
            "width_mm": round(self.width_mm, 1),
            "overlap_mm": self.overlap_mm,
            "words": self.words,
        }


def lay_lames(
    folder: Path | str,
    patch: str,
    *,
    first: str,
    last: str,
    joint: str,
    count: int | None = None,
    overlap_mm: float = 15.0,
    progress: Progress | None = None,
) -> LaidLames:
    """Put a row of overlapping strips in the place of a patch, each over the next.

    The strips run along the first line, on the trunk's side of the joint, as parallels of it; the
    last one ends at the last line. Without a count there are as few as keep 6 mm of each overlap
    covered through the joint's range.

    Raises
    ------
    JobError
        When there is no such patch, or the body has not been made.
    InputError
        When a line does not bound the patch or the body has no such joint.
    DesignError
        When so many strips cannot be laid out.
    """
    from fitkit.job.designs import patch_designs
    from fitkit.job.job_folder import held_job
    from fitkit.job.row_edits import row_values
    from fitkit.job.settings_edits import with_row, without_row
    from fitkit.motion.lames import lay_strips
    from fitkit.patch.cut_patches import cut_form

    with held_job(folder, "lames") as job:
        was = row_values(job.text, "patch", patch)
        drawn = draw_body(job, progress=progress)
        design = next(one for one in patch_designs(job.settings) if one.name == patch)
        worn = cut_form(drawn.form, drawn.lines, [design]).patches[0]
        bounds = tuple(dict.fromkeys(edge.line for loop in worn.loops for edge in loop))
        for line in (first, last):
            if line not in bounds or first == last:
                raise InputError(
                    f"The lames cannot run from '{first}' to '{last}' on '{patch}'.",
                    f"Give two of the lines that bound it: {', '.join(bounds)}.",
                )
        away_mm = _away_mm(worn, first)
        length_mm = float(away_mm[_edge_vertices(worn, last)].mean())
        needed = _needed(job, drawn.form.body, joint, worn, overlap_mm)
        strips = lay_strips(length_mm, count or needed, overlap_mm)
        names = [f"{patch} {number}" for number in range(1, len(strips) + 1)]
        _check_free(job, names)
        lines, rows = _rows(worn, was, strips, names, first, last, away_mm)
        text = _named_elsewhere(job, without_row(job.text, "patch", patch), patch, names)
        for row in lines:
            text = with_row(text, "line", row)
        for row in rows:
            text = with_row(text, "patch", row)
        text = with_row(text, "lames", {"name": patch, "of": names, "joint": joint})
        width = strips[0].end_mm - strips[0].start_mm
        words = (
            f"'{patch}' is {len(strips)} lames of {width:.0f} mm now, each {overlap_mm:g} mm over "
            f"the next; {_told(needed, joint)}"
        )
        job.with_text(text).keep_text(words)
    return LaidLames(tuple(names), width, overlap_mm, words)


def _told(needed: int, joint: str) -> str:
    if needed > _MANY:
        return f"they lie too far from the {joint} to take its turn up between them"
    return f"{needed} would keep covered through the {joint}'s range"


def _named_elsewhere(job: Job, text: str, patch: str, names: list[str]) -> str:
    """Return the text with what lies over or stands on the patch given to its lames."""
    from fitkit.job.row_edits import with_changed_row

    for row in job.settings.patch:
        if patch in row.over and row.name != patch:
            over = [one for name in row.over for one in (names if name == patch else [name])]
            text = with_changed_row(text, "patch", row.name, {"over": over})
    standing = [("attachment", one.name) for one in job.settings.attachment if one.on == patch]
    standing += [("hardware", one.name) for one in job.settings.hardware if one.on == patch]
    standing += [("pad", one.name) for one in job.settings.pad if one.on == patch]
    for section, name in standing:
        text = with_changed_row(text, section, name, {"on": names[0]})
    for gusset in job.settings.gusset:
        if patch in gusset.between:
            between = [names[0] if name == patch else name for name in gusset.between]
            text = with_changed_row(text, "gusset", gusset.name, {"between": between})
    held = [("strap", one.name, one.on) for one in job.settings.strap]
    held += [("fastener", one.name, one.on) for one in job.settings.fastener]
    for section, name, was_on in held:
        if patch in was_on:
            on = [names[0] if one == patch else one for one in was_on]
            text = with_changed_row(text, section, name, {"on": on})
    return text


def _edge_vertices(worn: Patch, line: str) -> Any:
    import numpy as np

    return np.concatenate(
        [edge.vertices for loop in worn.loops for edge in loop if edge.line == line]
    )


def _away_mm(worn: Patch, line: str) -> Floats:
    """(V,) float mm: way over the patch from one of its lines.

    K. Crane, C. Weischedel, M. Wardetzky, *Geodesics in heat*, ACM Trans. Graph. 32, 2013.
    """
    import numpy as np
    import potpourri3d

    solver = potpourri3d.MeshHeatMethodDistanceSolver(
        np.array(worn.mesh.vertices), np.array(worn.mesh.faces)
    )
    start = np.unique(_edge_vertices(worn, line)).tolist()
    away: Floats = np.asarray(solver.compute_distance_multisource(start))
    return np.maximum(away - float(away[start].mean()), 0.0)


def _needed(job: Job, body: Body, joint: str, worn: Patch, overlap_mm: float) -> int:
    """Return how few lames keep covered through what is asked of a joint."""
    import numpy as np

    from fitkit.body.joints import find_joints, with_joint_centres
    from fitkit.motion.asked_range import asked_ranges
    from fitkit.motion.lames import lame_count
    from fitkit.motion.movement import movements_of

    wishes = job.settings.motion
    joints = find_joints(body)
    known = {name: np.array(at) for name, at in wishes.joints.items() if name in joints}
    joints = with_joint_centres(joints, known)
    if joint not in joints:
        raise InputError(
            f"This body has no joint called '{joint}'.",
            f"Use one of: {', '.join(joints) or 'none found'}.",
        )
    ranges = asked_ranges(
        movements_of(joints),
        source=wishes.norms,
        wanted_deg=wishes.wanted,
        needs=wishes.needs,
        own_needs={need.name: need.takes for need in job.settings.need},
    )
    own = [one for one in ranges if one.lead.joint == joint]
    if not own:
        return 1
    widest = max(own, key=lambda one: one.turn_rad)
    arm = worn.mesh.vertices - joints[joint].centre_mm
    axis = widest.lead.axis
    reach = float(np.linalg.norm(arm - np.outer(arm @ axis, axis), axis=1).max())
    return lame_count(widest.turn_rad, reach, overlap_mm, _COVER_MM)


def _check_free(job: Job, names: list[str]) -> None:
    taken = {row.name for row in job.settings.patch}
    for name in names:
        if name in taken:
            raise JobError(
                f"There is a patch called '{name}' already.",
                "Rename it first: fitkit patch rename.",
            )


def _rows(
    worn: Patch,
    was: dict[str, Any],
    strips: tuple[LameStrip, ...],
    names: list[str],
    first: str,
    last: str,
    away_mm: Floats,
) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Return the rows of the lines and of the patches."""
    sides = [
        line
        for line in dict.fromkeys(edge.line for loop in worn.loops for edge in loop)
        if line not in (first, last)
    ]
    towards = _towards(worn, first, last)
    treated = was.get("edges", {})
    shared = {key: value for key, value in was.items() if key not in _NOT_SHARED}
    lines: list[dict[str, Any]] = []
    rows: list[dict[str, Any]] = []

    def parallel(name: str, distance_mm: float) -> str:
        lines.append(
            {"name": name, "kind": "parallel", "of": first, "distance_mm": round(distance_mm, 1),
             "towards": towards}
        )  # fmt: skip
        return name

    for k, (strip, name) in enumerate(zip(strips, names, strict=True)):
        start = first if k == 0 else parallel(f"{name} begins", strip.start_mm)
        end = last if k == len(strips) - 1 else parallel(f"{name} ends", strip.end_mm)
        middle = 0.5 * (strip.start_mm + strip.end_mm)
        row: dict[str, Any] = {"name": name, "lines": [start, end, *sides]}
        row["inside"] = _inside(worn, away_mm, middle)
        if k < len(strips) - 1:
            row["over"] = [names[k + 1]]
        edges = {line: kind for line, kind in treated.items() if line in (*row["lines"], "seam")}
        rows.append({**row, **shared, **({"edges": edges} if edges else {})})
    return lines, rows


def _towards(worn: Patch, first: str, last: str) -> str:
    """Return which way the last line lies from the first, as a parallel line is told."""
    import numpy as np

    points = worn.mesh.vertices
    way = points[_edge_vertices(worn, last)].mean(0) - points[_edge_vertices(worn, first)].mean(0)
    words = (("right", "left"), ("front", "back"), ("down", "up"))
    axis = int(np.abs(way).argmax())
    return words[axis][int(way[axis] > 0)]


def _inside(worn: Patch, away_mm: Floats, middle_mm: float) -> dict[str, Any]:
    """Return a place amid a strip, far from the patch's own sides."""
    import numpy as np
    from scipy.spatial import cKDTree

    from fitkit.geometry.topology import border_vertices

    points = worn.mesh.vertices
    rim = points[border_vertices(worn.mesh)]
    near = np.argsort(np.abs(away_mm - middle_mm))[: max(len(points) // 100, 12)]
    best = near[int(cKDTree(rim).query(points[near])[0].argmax())]
    return {"xyz_mm": [round(float(value), 1) for value in points[best]]}
