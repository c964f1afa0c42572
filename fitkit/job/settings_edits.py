"""Small changes to the text of ``job.toml`` that leave every other line as the maker wrote it."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

import tomlkit
from tomlkit.items import AoT, InlineTable, Table

from fitkit.errors import JobError

__all__ = [
    "new_job_text",
    "with_row",
    "with_setting",
    "without_row",
    "without_setting",
    "written_value",
]

_HEADER = re.compile(r"\s*\[\[?\s*([\w.\"' -]+?)\s*\]\]?\s*(?:#.*)?$")


def with_setting(text: str, section: str, key: str, value: Any) -> str:
    """Return the text with ``key = value`` in ``[section]``; the rest is untouched.

    The section, which may be one inside another as ``wearer.tape``, is added at the end of the
    plain sections when it is not there yet.
    """
    document = tomlkit.parse(text)
    table = _section_of(document, section)
    if table is None:
        return _with_section_before_rows(text, section, {key: value})
    if key in table:
        table[key] = value
    else:
        blanks = isinstance(table, Table) and _trailing_blank(table)
        table.append(key, value)
        if blanks:
            table.add(tomlkit.nl())
    return tomlkit.dumps(document)


def without_setting(text: str, section: str, key: str) -> str:
    """Return the text without that key of ``[section]``; the same text where it is not set."""
    document = tomlkit.parse(text)
    table = _section_of(document, section)
    if table is None or key not in table:
        return text
    table.remove(key)
    return tomlkit.dumps(document)


def _section_of(document: tomlkit.TOMLDocument, section: str) -> Table | InlineTable | None:
    found: Any = document
    for part in section.split("."):
        if not isinstance(found, Mapping) or part not in found:
            return None
        found = found[part]
    if not isinstance(found, Table | InlineTable):
        raise JobError(
            f"[{section}] in job.toml is not a section.", "Write it as [" + section + "]."
        )
    return found


def _trailing_blank(table: Table) -> bool:
    """Take the blank line off a section's end, so that a new key joins its block."""
    body = table.value.body
    if len(body) > 1 and body[-1][0] is None and not body[-1][1].as_string().strip():
        body.pop()
        return True
    return False


def _with_section_before_rows(text: str, section: str, values: Mapping[str, Any]) -> str:
    """Return the text with a section more; tomlkit would put it behind the rows."""
    lines = text.splitlines(keepends=True)
    if lines and not lines[-1].endswith("\n"):
        lines[-1] += "\n"
    rows = (i for i, line in enumerate(lines) if line.lstrip().startswith("[["))
    first = next(rows, len(lines))
    while 0 < first < len(lines) and lines[first - 1].lstrip().startswith("#"):
        first -= 1  # a remark above the rows stays with them
    written = (f"{_written_key(key)} = {written_value(value)}\n" for key, value in values.items())
    before = ["\n"] if first == len(lines) and lines and lines[-1].strip() else []
    after = ["\n"] if first < len(lines) else []
    added = [*before, f"[{section}]\n", *written, *after]
    return "".join([*lines[:first], *added, *lines[first:]])


def with_row(
    text: str,
    section: str,
    values: Mapping[str, Any],
    *,
    behind: str | None = None,
    first: bool = False,
) -> str:
    """Return the text with one more ``[[section]]`` row.

    It comes ``first`` of them, behind a named one, or behind all there are.
    """
    lines = text.splitlines(keepends=True)
    if lines and not lines[-1].endswith("\n"):
        lines[-1] += "\n"
    starts = [i for i, line in enumerate(lines) if line.strip().startswith(f"[[{section}]]")]
    at = len(lines)
    if starts:
        names = [str(row.get("name")) for row in tomlkit.parse(text).get(section, ())]
        last = starts[-1] if behind is None else starts[names.index(behind)]
        ends = (i for i in range(last + 1, len(lines)) if _starts_other(lines[i], section))
        at = starts[0] if first else next(ends, at)
        while at < len(lines) and at > 0 and lines[at - 1].lstrip().startswith("#"):
            at -= 1  # a remark above the next row or section stays with it
    row = [
        f"[[{section}]]\n",
        *(f"{key} = {written_value(value)}\n" for key, value in values.items()),
    ]
    before = ["\n"] if at > 0 and lines[at - 1].strip() else []
    after = ["\n"] if at < len(lines) else []
    return "".join([*lines[:at], *before, *row, *after, *lines[at:]])


def without_row(text: str, section: str, name: str, *, key: str = "name") -> str:
    """Return the text without the ``[[section]]`` row whose ``key`` is that name.

    Raises
    ------
    JobError
        When there is no such row.
    """
    document = tomlkit.parse(text)
    rows = document.get(section)
    names = [str(row.get(key)) for row in rows] if isinstance(rows, AoT) else []
    if name not in names:
        raise _no_such_row(section, name, names)
    lines = text.splitlines(keepends=True)
    starts = [i for i, line in enumerate(lines) if line.strip().startswith(f"[[{section}]]")]
    start = starts[names.index(name)]
    end = next(
        (i for i in range(start + 1, len(lines)) if _starts_other(lines[i], section)), len(lines)
    )
    while end > start + 1 and lines[end - 1].lstrip().startswith("#"):
        end -= 1
    return "".join([*lines[:start], *lines[end:]])


def _no_such_row(section: str, name: str, names: Sequence[str]) -> JobError:
    return JobError(
        f"There is no {section} called '{name}' in job.toml.",
        f"Use one of: {', '.join(names) or 'none there yet'}.",
    )


def _starts_other(line: str, section: str) -> bool:
    """Tell whether a line begins a row or section that is not part of the row above."""
    header = _HEADER.match(line)
    return header is not None and not header.group(1).startswith(f"{section}.")


def written_value(value: Any) -> str:
    """Return a value as one writes it into ``job.toml``; places of a list one to a line."""
    if isinstance(value, Mapping):
        inside = ", ".join(f"{_written_key(k)} = {written_value(v)}" for k, v in value.items())
        return "{" + inside + "}"
    if isinstance(value, (list, tuple)):
        inner = [written_value(item) for item in value]
        if any(isinstance(item, Mapping) for item in value):
            return "[\n" + "".join(f"    {item},\n" for item in inner) + "]"
        return "[" + ", ".join(inner) + "]"
    return str(tomlkit.item(value).as_string())


def new_job_text(
    name: str, *, wearer: str = "", tape_mm: Mapping[str, str | float] | None = None
) -> str:
    """Return the ``job.toml`` of a new job, with a remark beside what can be set."""
    tape = "".join(
        f"{_written_key(key)} = {written_value(value)}\n" for key, value in (tape_mm or {}).items()
    )
    return _NEW_JOB.format(name=written_value(name), wearer=written_value(wearer), tape=tape)


def _written_key(key: str) -> str:
    return tomlkit.key(key).as_string()


_NEW_JOB = """\
# What the maker decides. Lengths are millimetres, or text with a unit: "92.5 cm", "36 in".
# Left and right are always the wearer's. Remarks like this one are kept.
format = 1

[job]
name = {name}

[wearer]
name = {wearer}

# The tape list: taut but not tight, over what is worn under the parts.
[wearer.tape]
{tape}
[capture]
# The two check lengths as measured on a printed marker sheet, across and up.
# printed_mm = [180.0, 200.0]
# Where the body begins and ends above the floor, if not found by itself.
# bottom_mm = 700
# top_mm = 1700

[body]
# A stand-in's body can be reshaped to the tape list: fitkit adapt.
# adapt = true

[form]
# Clothing, padding and air under the plates.
clearance_mm = 5

[print]
paper = "A4"
margin_mm = 10
overlap_mm = 10

# Tape lines and patches, for example:
#
# [[line]]
# name = "waist"
# kind = "level"
# height_mm = 1050
#
# [[line]]
# name = "middle"
# kind = "symmetry"
#
# [[patch]]
# name = "breast plate"
# lines = ["waist", "chest", "middle", "left side"]
# inside = {{height_mm = 1200, bearing_deg = 30}}
# side = "left"
# pair = true
# material = "card"
# thickness_mm = 0.5
# edges = {{"left side" = {{lap_mm = 12}}}}
"""
