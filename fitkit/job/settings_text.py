"""Reading ``job.toml``: from text to settings, with every problem named by line and section."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from typing import TYPE_CHECKING, Any, get_args

from fitkit.errors import FitkitError, JobError
from fitkit.job.migrations import migrated

if TYPE_CHECKING:
    from pydantic import BaseModel

    from fitkit.job.settings import JobSettings

__all__ = ["Problem", "read_settings", "settings_problems"]


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing wrong in ``job.toml``: ``where`` names the section, ``line`` counts from 1."""

    where: str
    line: int | None
    cause: str
    remedy: str

    def as_error(self, others: int = 0) -> JobError:
        """Return the error that stops a step; ``others`` counts further problems."""
        more = f" ({others} more: fitkit check lists all.)" if others else ""
        return JobError(f"{self.place()}: {self.cause}{more}", self.remedy)

    def place(self) -> str:
        """Return ``job.toml line 12, [[line]] "waist"``."""
        spot = f"job.toml line {self.line}" if self.line else "job.toml"
        return f"{spot}, {self.where}" if self.where else spot


def read_settings(text: str) -> JobSettings:
    """Return the settings that the text of a ``job.toml`` holds.

    Raises
    ------
    JobError
        On the first problem; it names the line, the section and what to write.
    """
    settings, problems = settings_problems(text)
    if settings is None:
        raise problems[0].as_error(len(problems) - 1)
    return settings


def settings_problems(text: str) -> tuple[JobSettings | None, tuple[Problem, ...]]:
    """Return the settings, or None and every problem found in the text."""
    from pydantic import ValidationError

    from fitkit.job.settings import JobSettings

    try:
        values = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        return None, (_syntax_problem(str(error)),)
    try:
        values = migrated(values)
        settings = JobSettings.model_validate(values)
    except JobError as error:
        return None, (Problem("", _line_of(text, ("format",)), error.cause, error.remedy),)
    except ValidationError as error:
        found = [_problem(text, values, dict(item)) for item in error.errors()]
        return None, tuple(found)
    crossed = tuple(_cross_problems(text, settings))
    return (None, crossed) if crossed else (settings, ())


def _syntax_problem(message: str) -> Problem:
    line = re.search(r"at line (\d+)", message)
    cause = re.sub(r"\s*\(at .*\)", "", message).strip().rstrip(".")
    return Problem(
        "",
        int(line.group(1)) if line else None,
        f"this cannot be read: {cause[:1].lower()}{cause[1:]}.",
        "Write name = value, text in double quotes, one to a line.",
    )


_KINDS = ("level", "geodesic", "through", "symmetry", "parallel", "mirrored", "round")


def _problem(text: str, values: dict[str, Any], item: dict[str, Any]) -> Problem:
    # The kind of a line is put into the path by the choice between kinds; the file has none.
    path = [part for i, part in enumerate(item["loc"]) if not (i == 2 and part in _KINDS)]
    where, line = _where(values, path), _line_of(text, path)
    key = next((str(part) for part in reversed(path) if isinstance(part, str)), "")
    kind, given = item["type"], item.get("input")
    raised = (item.get("ctx") or {}).get("error")
    if kind == "extra_forbidden":
        known = _known_words(path[:-1], values)
        near = get_close_matches(key, known, n=1)
        remedy = f"Did you mean '{near[0]}'?" if near else f"Known here: {', '.join(known)}."
        return Problem(where, line, f"'{key}' is not a word of this section.", remedy)
    if kind == "missing":
        return Problem(where, line, f"'{key}' is missing.", f"Add {key} = ... to it.")
    if kind in {"union_tag_invalid", "union_tag_not_found"}:
        kinds = ", ".join(f'"{name}"' for name in _KINDS)
        told = given.get("kind") if isinstance(given, dict) else given
        cause = "a line needs a kind." if told is None else f"there is no line of kind '{told}'."
        near = get_close_matches(str(told), _KINDS, n=1)
        return Problem(
            where, line, cause, f"Did you mean '{near[0]}'?" if near else f"Write one of {kinds}."
        )
    if isinstance(raised, FitkitError):
        return Problem(where, line, raised.cause, raised.remedy)
    if isinstance(given, dict) and raised is not None:
        told = [word for word in getattr(raised, "words", ()) if word in given]
        line = _line_of(text, [*path, *told[:1]])
        return Problem(where, line, _misfit(told, given), str(raised))
    if raised is not None:
        return Problem(where, line, f"'{key}' does not fit (it is {given!r}).", str(raised))
    said = str(item["msg"]).replace("Input should be", "It should be")
    return Problem(where, line, f"'{key}' is {given!r}.", f"{said.rstrip('.')}.")


def _misfit(words: Sequence[str], given: Mapping[str, Any]) -> str:
    """Say which words of a section do not fit; what is one value is told with it."""
    if not words:
        return "it does not fit together."
    names = [f"'{word}'" for word in words]
    if len(names) > 1:
        return f"{', '.join(names[:-1])} and {names[-1]} do not fit together."
    value = given[words[0]]
    is_one = isinstance(value, (str, int, float)) and not isinstance(value, bool)
    return f"{names[0]} does not fit{f' (it is {value!r})' * is_one}."


def _where(values: dict[str, Any], path: Sequence[Any]) -> str:
    if not path or (len(path) == 1 and path[0] not in values):
        return ""
    section = str(path[0])
    rows = values.get(section)
    if isinstance(rows, list):
        row = rows[path[1]] if len(path) > 1 and isinstance(path[1], int) else None
        name = row.get("name") if isinstance(row, dict) else None
        number = f' "{name}"' if name else f" number {int(path[1]) + 1}" if row is not None else ""
        return f"[[{section}]]{number}"
    if isinstance(rows, dict) and len(path) > 2 and isinstance(rows.get(path[1]), dict):
        section = f"{section}.{path[1]}"
    return f"[{section}]" if isinstance(rows, dict) else ""


def _known_words(path: Sequence[Any], values: dict[str, Any]) -> list[str]:
    """Return the words that the section at the path knows."""
    from fitkit.job.settings import JobSettings

    models: list[type[BaseModel]] = [JobSettings]
    rows: Any = values
    for part in path:
        if not isinstance(rows, list) and part not in rows:
            continue  # which of several sections is meant, no word of the job
        rows = rows[part]
        fields = [model.model_fields[part] for model in models if part in model.model_fields]
        if fields:
            models = [one for field in fields for one in _sections_in(field.annotation)]
        if isinstance(rows, dict) and (kind := rows.get("kind")) in _KINDS:
            models = [one for one in models if _is_of(one, kind)]
    return list(dict.fromkeys(name for model in models for name in model.model_fields))


def _sections_in(annotation: Any) -> list[type[BaseModel]]:
    """Return the sections that a field may hold, in lists and by name too."""
    if hasattr(annotation, "model_fields"):
        return [annotation]
    return [one for inner in get_args(annotation) for one in _sections_in(inner)]


def _is_of(model: type[BaseModel], kind: str) -> bool:
    """Whether a section is of a kind of line."""
    told = model.model_fields.get("kind")
    return told is None or kind in get_args(told.annotation)


def _line_of(text: str, path: Sequence[Any]) -> int | None:
    """Return the line on which the section or, where it stands there, the key of a path is."""
    lines = text.splitlines()
    start, end = 0, len(lines)
    rest = list(path)
    found: int | None = None
    headers = [
        i
        for i, row in enumerate(lines)
        if rest and re.match(rf"\s*\[\[?\s*\"?{re.escape(str(rest[0]))}\"?\s*\]", row)
    ]
    if headers or len(rest) > 1:
        section = str(rest.pop(0))
        which = rest.pop(0) if rest and isinstance(rest[0], int) else 0
        if which < len(headers):
            start = headers[which]
            found = start + 1
        if rest and isinstance(rest[0], str):
            inner = re.compile(rf"\s*\[\[?\s*{re.escape(section)}\.\"?{re.escape(rest[0])}\"?\s*\]")
            for i in range(start, end):
                if inner.match(lines[i]):
                    start, found = i, i + 1
                    rest.pop(0)
                    break
    stop = next((i for i in range(start + 1, end) if re.match(r"\s*\[\[?\s*[\w\"]", lines[i])), end)
    for key in rest:
        if not isinstance(key, str):
            continue
        pattern = re.compile(rf"(^|[{{,\s])\"?{re.escape(key)}\"?\s*=")
        for i in range(start, stop):
            if pattern.search(lines[i].split("#")[0]):
                start, found = i, i + 1
                break
    return found


def _cross_problems(text: str, settings: JobSettings) -> list[Problem]:
    """Return what each section alone cannot see: names used twice or pointing nowhere."""
    from fitkit.job.designs import leaning_on, rim_name
    from fitkit.job.settings import file_stem

    problems: list[Problem] = []
    line_names = [line.name for line in settings.line]

    def add(section: str, index: int, name: str, key: str, cause: str, remedy: str) -> None:
        spot = _line_of(text, (section, index, key))
        problems.append(Problem(f'[[{section}]] "{name}"', spot, cause, remedy))

    def pointing(
        section: str, index: int, row: str, key: str, wanted: str, known: Sequence[str]
    ) -> None:
        if wanted in known:
            return
        near = get_close_matches(wanted, known, n=1, cutoff=0.5)
        listed = ", ".join(known) or "none drawn yet"
        remedy = f"Did you mean '{near[0]}'?" if near else f"Use one of: {listed}."
        add(section, index, row, key, f"there is no tape line '{wanted}' ({key}).", remedy)

    rims = {file_stem(rim_name(p.name)): p.name for p in settings.patch if p.radius_mm is not None}
    for section, rows in (("line", settings.line), ("patch", settings.patch)):
        seen: dict[str, str] = dict(rims) if section == "line" else {}
        for index, row in enumerate(rows):
            stem = file_stem(row.name)
            if stem in seen:
                cause = f"the name is taken by '{seen[stem]}' already."
                add(section, index, row.name, "name", cause, "Give it a name of its own.")
            seen.setdefault(stem, row.name)
    for index, line in enumerate(settings.line):
        for key, name in leaning_on(line):
            pointing("line", index, line.name, key, name, line_names)
    for index, patch in enumerate(settings.patch):
        for name in patch.lines:
            pointing("patch", index, patch.name, "lines", name, line_names)
        for name in patch.seams:
            pointing("patch", index, patch.name, "seam", name, line_names)
        places = [("cuts", end) for cut in patch.cuts for end in (cut.edge, cut.tip)]
        places += [("no_cuts", one.at) for one in patch.no_cuts if not isinstance(one, str)]
        for key, place in places:
            for wanted in filter(None, (place.line, place.crossing)):
                pointing("patch", index, patch.name, key, wanted, line_names)
        barred = [name for name in patch.no_cuts if isinstance(name, str)]
        for name in barred:
            pointing("patch", index, patch.name, "no_cuts", name, [*line_names, "rim", "seam"])
        if patch.grain is not None:
            known = [*line_names, "up", "round"]
            pointing("patch", index, patch.name, "grain", patch.grain, known)
        around = ["rim"] if patch.radius_mm is not None else patch.lines or line_names
        for name in patch.edges:
            pointing("patch", index, patch.name, "edges", name, [*around, "seam", "cut"])
        cut = patch.edges.get("cut")
        if cut is not None and cut.rivets is None and "cut" not in line_names:
            cause = "relief cuts are closed edge to edge; only rivets can be told of them."
            remedy = 'Write cut = {rivets = "blind 3.2"}: holes for a strap behind each cut.'
            add("patch", index, patch.name, "edges", cause, remedy)
        for name in patch.hold:
            pointing("patch", index, patch.name, "hold", name, [*line_names, "seam"])
    patch_names = [patch.name for patch in settings.patch]
    corrected: set[str] = set()
    for index, one in enumerate(settings.correction):
        if one.patch not in patch_names:
            cause = f"there is no patch '{one.patch}'."
            remedy = f"Use one of: {', '.join(patch_names) or 'none drawn yet'}; or take it out."
            add("correction", index, one.patch, "patch", cause, remedy)
        elif one.patch in corrected:
            cause = "the patch is corrected twice."
            add("correction", index, one.patch, "patch", cause, "Keep one of the two.")
        corrected.add(one.patch)
    stems = {file_stem(patch.name): patch.name for patch in settings.patch}
    for index, part in enumerate(settings.attachment):
        stem = file_stem(part.name)
        if stem in stems:
            cause = f"the name is taken by '{stems[stem]}' already."
            add("attachment", index, part.name, "name", cause, "Give it a name of its own.")
        stems.setdefault(stem, part.name)
        for wanted in filter(None, (part.at.line, part.at.crossing)):
            pointing("attachment", index, part.name, "at", wanted, line_names)
        if part.on not in patch_names:
            remedy = f"Use one of: {', '.join(patch_names) or 'none drawn yet'}."
            add("attachment", index, part.name, "on", f"there is no patch '{part.on}'.", remedy)
    problems += _holding_problems(text, settings, stems)
    for index, bought in enumerate(settings.hardware):
        if bought.on and bought.on not in patch_names:
            remedy = f"Use one of: {', '.join(patch_names) or 'none drawn yet'}; or leave it out."
            add("hardware", index, bought.name, "on", f"there is no patch '{bought.on}'.", remedy)
    taken: set[str] = set()
    for index, sheet in enumerate(settings.stock):
        if sheet.name in taken:
            cause = "the name is taken already."
            add("stock", index, sheet.name, "name", cause, "Give each row a name of its own.")
        taken.add(sheet.name)
    for index, pin in enumerate(settings.pinned):
        if pin.sheet not in taken:
            remedy = f"Use one of: {', '.join(taken) or 'none told yet'}; or take it out."
            cause = f"there is no stock '{pin.sheet}'."
            add("pinned", index, pin.part, "sheet", cause, remedy)
    if not problems:
        problems += _ring(text, settings)
    return problems


def _holding_problems(text: str, settings: JobSettings, taken: Mapping[str, str]) -> list[Problem]:
    """Return what holds plates whose name is taken, or whose plates or lines are not there."""
    from fitkit.job.settings import file_stem

    problems: list[Problem] = []
    seen = dict(taken)
    patches = [patch.name for patch in settings.patch]
    lines = [line.name for line in settings.line]

    def add(section: str, index: int, name: str, key: str, cause: str, remedy: str) -> None:
        spot = _line_of(text, (section, index, key))
        problems.append(Problem(f'[[{section}]] "{name}"', spot, cause, remedy))

    named: list[tuple[str, int, str, tuple[str, ...]]]
    named = [("strap", i, row.name, row.on) for i, row in enumerate(settings.strap)]
    named += [("pad", i, row.name, (row.on,)) for i, row in enumerate(settings.pad)]
    named += [("gusset", i, row.name, row.between) for i, row in enumerate(settings.gusset)]
    named += [("fastener", i, row.name, row.on) for i, row in enumerate(settings.fastener)]
    for section, index, name, on in named:
        stem = file_stem(name)
        if stem in seen:
            cause = f"the name is taken by '{seen[stem]}' already."
            add(section, index, name, "name", cause, "Give it a name of its own.")
        seen.setdefault(stem, name)
        for wanted in on:
            if wanted not in patches:
                key = "between" if section == "gusset" else "on"
                remedy = f"Use one of: {', '.join(patches) or 'none drawn yet'}."
                add(section, index, name, key, f"there is no patch '{wanted}'.", remedy)
    for index, strap in enumerate(settings.strap):
        for key, places in (("at", strap.at), ("through", strap.through)):
            for place in places:
                for wanted in filter(None, (place.line, place.crossing)):
                    if wanted not in lines:
                        remedy = f"Use one of: {', '.join(lines) or 'none drawn yet'}."
                        cause = f"there is no tape line '{wanted}' ({key})."
                        add("strap", index, strap.name, key, cause, remedy)
    return problems


def _ring(text: str, settings: JobSettings) -> list[Problem]:
    """Return the problem of lines that lean on each other in a ring."""
    from fitkit.job.designs import leaning_on

    leans = {line.name: [name for _, name in leaning_on(line)] for line in settings.line}
    free: set[str] = set()
    while more := {name for name in leans if name not in free and set(leans[name]) <= free}:
        free |= more
    for index, line in enumerate(settings.line):
        if line.name not in free:
            ring = ", ".join(name for name in leans if name not in free)
            return [
                Problem(
                    f'[[line]] "{line.name}"',
                    _line_of(text, ("line", index)),
                    f"these lines lean on each other in a ring: {ring}.",
                    "Draw one of them by places on the body.",
                )
            ]
    return []
