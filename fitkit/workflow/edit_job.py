"""Lines, patches and what is fitted to them: rows of ``job.toml`` added, changed, taken out."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Literal, TypeAlias

from fitkit.errors import InputError, JobError
from fitkit.job.job_folder import Job, held_job, open_job
from fitkit.workflow.fittings import FittingKind
from fitkit.workflow.step_report import Progress, StepReport

__all__ = [
    "add_row",
    "add_rows",
    "anchor_values",
    "anchor_words",
    "change_line",
    "change_row",
    "extend_line",
    "list_rows",
    "remove_row",
    "rename_row",
    "row_of",
]

Section: TypeAlias = Literal["line", "patch"] | FittingKind

_REMEDY = (
    "Write HEIGHT@BEARING such as 1200@30, LIMB:ALONG@BEARING such as 'left arm:0.5@90', X,Y,Z "
    "in millimetres, the name of a landmark, or 'on LINE', 'on LINE:ALONG', 'on LINE/LINE'."
)


def anchor_values(text: str) -> dict[str, Any]:
    """Return a place written in one line as the values of an anchor in ``job.toml``.

    Raises
    ------
    InputError
        When it cannot be read.

    Examples
    --------
    >>> anchor_values("1200@30")
    {'height_mm': 1200.0, 'bearing_deg': 30.0}
    >>> anchor_values("left arm:0.5@90")
    {'axis': 'left arm', 'along': 0.5, 'bearing_deg': 90.0}
    >>> anchor_values("on waist:0.25")
    {'line': 'waist', 'along': 0.25}
    >>> anchor_values("on waist/left side")
    {'line': 'waist', 'crossing': 'left side'}
    """
    from fitkit.units import parse_length_mm

    text = text.strip()
    try:
        if on := re.fullmatch(r"on\s+([^:@,/]+)(?:(:|/)([^:@,/]+))?", text):
            line, kind, rest = (part and part.strip() for part in on.groups())
            if kind is None:
                return {"line": line}
            return {"line": line, **({"along": float(rest)} if kind == ":" else {"crossing": rest})}
        if limb := re.fullmatch(r"([^:@]+):([^:@]+)@([^:@]+)", text):
            axis, along, bearing = limb.groups()
            return {
                "axis": axis.strip(),
                "along": float(along),
                "bearing_deg": float(bearing),
            }
        if level := re.fullmatch(r"([^:@]+)@([^:@]+)", text):
            height, bearing = level.groups()
            return {"height_mm": parse_length_mm(height), "bearing_deg": float(bearing)}
        if re.fullmatch(r"[^,]+,[^,]+,[^,]+", text):
            return {"xyz_mm": [float(part) for part in text.split(",")]}
    except ValueError as error:
        raise InputError(f"'{text}' is not a place on the body.", _REMEDY) from error
    if not text or re.search(r"[@:,]", text):
        raise InputError(f"'{text}' is not a place on the body.", _REMEDY)
    return {"landmark": text}


def anchor_words(values: Mapping[str, Any]) -> str:
    """Return a place as :func:`anchor_values` reads it; one between landmarks can only be read.

    Examples
    --------
    >>> anchor_words({"height_mm": 1200.0, "bearing_deg": 30.0})
    '1200@30'
    >>> anchor_words({"line": "waist", "crossing": "left side"})
    'on waist/left side'
    """
    if "landmark" in values:
        return str(values["landmark"])
    if "xyz_mm" in values:
        return ",".join(f"{part:g}" for part in values["xyz_mm"])
    if "line" in values:
        tail = f":{values['along']:g}" if values.get("along") is not None else ""
        tail += f"/{values['crossing']}" if values.get("crossing") is not None else ""
        return f"on {values['line']}{tail}"
    if "axis" in values:
        return f"{values['axis']}:{values['along']:g}@{values['bearing_deg']:g}"
    if "height_mm" in values:
        return f"{values['height_mm']:g}@{values['bearing_deg']:g}"
    low, high = values["between"]
    return f"{values['part']:g} from {low} to {high}@{values['bearing_deg']:g}"


def add_row(
    folder: Path | str,
    section: Section,
    values: Mapping[str, Any],
    *,
    progress: Progress | None = None,
) -> StepReport:
    """Add a tape line, a patch or a strap behind those there are; every other line stays as it is.

    A patch that is told by a place inside alone gets the lines that run round it on the body, if
    that is made; else it ends at whatever lines are there when it is cut.

    Raises
    ------
    JobError
        When the job would not hold together with it; nothing is written then.
    DesignError
        When no lines run round the place inside a patch.
    """
    from fitkit.job.settings_edits import with_row

    values, found = dict(values), ""
    with held_job(folder, section) as job:
        if section == "patch" and not values.get("lines") and "radius_mm" not in values:
            values, found = _with_lines_found(job, values, progress)
        text = with_row(job.text, section, values)
        return _kept(job, section, text, f"added the {section} '{values['name']}'{found}")


def add_rows(folder: Path | str, section: Section, rows: Sequence[Mapping[str, Any]]) -> StepReport:
    """Add several rows of a section, told in full, as one change.

    Raises
    ------
    JobError
        When the job would not hold together with them; nothing is written then.
    """
    from fitkit.job.row_edits import row_key
    from fitkit.job.settings_edits import with_row

    with held_job(folder, section) as job:
        text = job.text
        for row in rows:
            text = with_row(text, section, row)
        names = " and ".join(f"'{row[row_key(section)]}'" for row in rows)
        return _kept(job, section, text, f"added the {section} {names}")


def change_row(
    folder: Path | str,
    section: Section,
    name: str,
    values: Mapping[str, Any],
    *,
    without: Sequence[str] = (),
    whole: bool = False,
) -> StepReport:
    """Set some values of a row anew; remarks and all else stay.

    A table is laid over the one there; ``whole`` puts it in the other's place, as for a place.

    Raises
    ------
    JobError
        When there is none of that name, or the job would not hold together; nothing is
        written then.
    """
    with held_job(folder, section) as job:
        return _changed(job, section, name, values, without=without, whole=whole)


def change_line(
    folder: Path | str,
    name: str,
    values: Mapping[str, Any],
    *,
    moved: Mapping[int, Mapping[str, Any]] | None = None,
) -> StepReport:
    """Set some values of a tape line anew, or make it a line of another kind.

    Parameters
    ----------
    values
        With a ``kind`` they tell where the line runs afresh, and what told it before goes.
    moved
        Other places for some of its points, counted from 1.

    Raises
    ------
    JobError
        As :func:`change_row`, and when the line has no point of such a number.
    """
    from fitkit.job.row_edits import row_values

    with held_job(folder, "line") as job:
        was = row_values(job.text, "line", name)
        told = dict(values)
        gone = [key for key in was if key not in ("name", *told)] if "kind" in told else []
        if moved:
            points = list(told.get("points", was.get("points", [])))
            for number, place in moved.items():
                if number > len(points):
                    raise JobError(
                        f"The line '{name}' has {len(points)} points, not {number}.",
                        "Count them from 1; a level or the middle has none.",
                    )
                points[number - 1] = dict(place)
            told["points"] = points
        return _changed(job, "line", name, told, without=gone)


def extend_line(folder: Path | str, name: str, place: Mapping[str, Any]) -> StepReport:
    """Let a line run on to one more place behind its last.

    Raises
    ------
    JobError
        When there is no such line, or the job would not hold together; nothing is written then.
    """
    from fitkit.job.row_edits import row_values

    with held_job(folder, "line") as job:
        points = row_values(job.text, "line", name).get("points", [])
        return _changed(job, "line", name, {"points": [*points, dict(place)]})


def row_of(job: Job, section: Section, name: str) -> dict[str, Any] | None:
    """Return what is set in a row, lengths in millimetres; None where there is no such row."""
    from fitkit.job.row_edits import row_key

    rows: Sequence[Any] = getattr(job.settings, section)
    for row in rows:
        if getattr(row, row_key(section)) == name:
            values: dict[str, Any] = row.model_dump(mode="json", exclude_unset=True)
            return values
    return None


def rename_row(folder: Path | str, section: Section, name: str, new: str) -> StepReport:
    """Give a row another name, wherever it is named; all that was set stays.

    Raises
    ------
    JobError
        When there is none of that name, or the new one is taken.
    """
    from fitkit.job.row_edits import with_changed_row, with_renamed_line, with_renamed_patch

    with held_job(folder, section) as job:
        if section not in ("line", "patch"):  # named nowhere else
            text = with_changed_row(job.text, section, name, {"name": new})
        else:
            renamed = with_renamed_line if section == "line" else with_renamed_patch
            text = renamed(job.text, name, new)
        return _kept(job, section, text, f"the {section} '{name}' is '{new}' now")


def remove_row(folder: Path | str, section: Section, name: str) -> StepReport:
    """Take a row out of the job.

    Raises
    ------
    JobError
        When there is none of that name, or a patch or line still needs the line.
    """
    from fitkit.job.row_edits import row_key
    from fitkit.job.settings_edits import without_row

    with held_job(folder, section) as job:
        text = without_row(job.text, section, name, key=row_key(section))
        return _kept(job, section, text, f"took out the {section} '{name}'")


def list_rows(folder: Path | str, section: Section) -> list[dict[str, Any]]:
    """Return the rows of the section as plain values, without what was left at its default."""
    rows = getattr(open_job(folder).settings, section)
    return [row.model_dump(mode="json", exclude_unset=True) for row in rows]


def _changed(
    job: Job,
    section: Section,
    name: str,
    values: Mapping[str, Any],
    *,
    without: Sequence[str] = (),
    whole: bool = False,
) -> StepReport:
    from fitkit.job.row_edits import with_changed_row

    text = with_changed_row(job.text, section, name, values, without=without, whole=whole)
    keys = ", ".join([*values, *(f"no {key}" for key in without)])
    return _kept(job, section, text, f"changed the {section} '{name}': {keys}")


def _kept(job: Job, section: Section, text: str, words: str) -> StepReport:
    """Keep a held job's new text."""
    job.with_text(text).keep_text(words)
    return StepReport(section, ran=True, words=words, files=(job.folder / "job.toml",))


def _with_lines_found(
    job: Job, values: dict[str, Any], progress: Progress | None
) -> tuple[dict[str, Any], str]:
    """Return a patch's values with the lines round the place inside it, and what was found."""
    from fitkit.job.designs import patch_designs
    from fitkit.job.made_from import MadeFrom
    from fitkit.job.settings_edits import with_row

    if MadeFrom.read(job.result_folder("body")) is None:
        return values, ", bounded by whatever lines run round it"
    from fitkit.patch.divided import bounding_lines
    from fitkit.workflow.drawn_body import draw_body

    design = patch_designs(job.with_text(with_row(job.text, "patch", values)).settings)[-1]
    drawn = draw_body(job, progress=progress)
    lines = bounding_lines(drawn.form, drawn.lines, design).boundary
    rest = {key: value for key, value in values.items() if key not in ("name", "lines")}
    return {"name": values["name"], "lines": list(lines), **rest}, f", between {', '.join(lines)}"
