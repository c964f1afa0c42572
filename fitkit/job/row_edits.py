"""Changes to single ``[[line]]`` and ``[[patch]]`` rows of ``job.toml``, remarks kept.

Every function takes the text and returns other text, so that whoever keeps the text from
before can go back.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

import tomlkit
from tomlkit.items import AoT, Array, InlineTable, Null, Table

from fitkit.errors import JobError
from fitkit.job.settings_edits import without_row, written_value

__all__ = [
    "row_key",
    "row_values",
    "with_changed_row",
    "with_patch_meant",
    "with_renamed_line",
    "with_renamed_patch",
    "without_correction",
]


def row_key(section: str) -> str:
    """Return by which of its values a row of a section is called."""
    return "patch" if section in ("correction", "pivot") else "name"


def row_values(text: str, section: str, name: str) -> dict[str, Any]:
    """Return a row's values as plain ones.

    Raises
    ------
    JobError
        When there is no such row.
    """
    return dict(_row(tomlkit.parse(text), section, name).unwrap())


def with_changed_row(
    text: str,
    section: str,
    name: str,
    values: Mapping[str, Any],
    *,
    without: Sequence[str] = (),
    whole: bool = False,
) -> str:
    """Return the text with some values of a row set anew and some taken out.

    A value of None is taken out where it is there, one in ``without`` has to be there. A table
    among the values is laid over the one there, key by key, a key set to None going; ``whole``
    puts it in the other's place, as for a place told in another way.

    Raises
    ------
    JobError
        When there is no such row, or one of its values to be taken out is not there.
    """
    document = tomlkit.parse(text)
    row = _row(document, section, name)
    for key in without:
        if key not in row:
            raise JobError(
                f"The {section} '{name}' has no '{key}' to take out.",
                f"It has: {', '.join(row)}.",
            )
        row.remove(key)
    for key, value in values.items():
        if value is None:
            row.pop(key, None)
            continue
        if (
            not whole
            and isinstance(value, Mapping)
            and isinstance(row.get(key), (Table, InlineTable))
        ):
            laid_over = {**row[key].unwrap(), **value}
            value = {inner: kept for inner, kept in laid_over.items() if kept is not None}
        _set(row, key, value)
    return tomlkit.dumps(document)


def with_renamed_line(text: str, name: str, new: str) -> str:
    """Return the text with a tape line of another name, there and wherever it is named.

    Raises
    ------
    JobError
        When there is no such line.
    """
    document = tomlkit.parse(text)
    _set(_row(document, "line", name), "name", new)

    def exchanged(value: Any) -> Any:
        return new if value == name else value

    for line in document.get("line", []):
        _exchange(line, ("of",), exchanged)
        for place in [*line.get("points", []), line.get("centre", {})]:
            _exchange(place, ("line", "crossing"), exchanged)
    for patch in document.get("patch", []):
        _exchange(patch, ("lines", "hold", "seam", "grain", "no_cuts"), exchanged)
        edges = patch.get("edges")
        if edges is not None and name in edges:
            plain = edges.unwrap()
            _set(patch, "edges", {exchanged(line): edge for line, edge in plain.items()})
    for padded in document.get("padding", []):
        _exchange(padded, ("lines",), exchanged)
    for strap in document.get("strap", []):
        for place in [*strap.get("at", []), *strap.get("through", [])]:
            _exchange(place, ("line", "crossing"), exchanged)
    for section in ("attachment", "artwork", "fastener", "pivot"):
        for fitted in document.get(section, []):
            _exchange(fitted.get("at", {}), ("line", "crossing"), exchanged)
    for corrected in document.get("correction", []):
        for edge in corrected.get("edges", []):
            _exchange(edge, ("line",), exchanged)
    return tomlkit.dumps(document)


def with_renamed_patch(text: str, name: str, new: str) -> str:
    """Return the text with a patch of another name, there and wherever it is named.

    Raises
    ------
    JobError
        When there is no such patch.
    """
    document = tomlkit.parse(text)
    _set(_row(document, "patch", name), "name", new)
    for corrected in document.get("correction", []):
        _exchange(corrected, ("patch",), lambda value: new if value == name else value)
    return with_patch_meant(tomlkit.dumps(document), name, new)


def with_patch_meant(text: str, name: str, other: str) -> str:
    """Return the text in which rows that name one patch name another in its place."""
    document = tomlkit.parse(text)

    def exchanged(value: Any) -> Any:
        return other if value == name else value

    for patch in document.get("patch", []):
        _exchange(patch, ("over",), exchanged)
    for section in ("attachment", "artwork", "hardware", "strap", "pad", "fastener"):
        for attached in document.get(section, []):
            _exchange(attached, ("on",), exchanged)
    for section, key in (("gusset", "between"), ("pivot", "patch"), ("lames", "of")):
        for row in document.get(section, []):
            _exchange(row, (key,), exchanged)
    motion = document.get("motion", {})
    _exchange(motion, ("keep",), exchanged)
    rides = motion.get("rides", {})
    if name in rides:
        ridden = rides.pop(name)
        rides.setdefault(other, ridden)
    return tomlkit.dumps(document)


def without_correction(text: str, *patches: str) -> str:
    """Return the text without what was corrected on patches that are no longer the same."""
    for patch in patches:
        rows = tomlkit.parse(text).get("correction", [])
        if any(row.get("patch") == patch for row in rows):
            text = without_row(text, "correction", patch, key="patch")
    return text


def _row(document: Mapping[str, Any], section: str, name: str) -> Table:
    rows = document.get(section)
    names = [str(row.get(row_key(section))) for row in rows] if isinstance(rows, AoT) else []
    wanted = " ".join(name.split())
    for row, called in zip(rows or (), names, strict=True):
        if " ".join(called.split()) == wanted:
            return row  # type: ignore[no-any-return]  # tomlkit's rows are tables
    raise JobError(
        f"There is no {section} called '{name}' in job.toml.",
        f"Use one of: {', '.join(names) or 'none there yet'}.",
    )


def _exchange(table: Any, keys: Sequence[str], exchanged: Callable[[Any], Any]) -> None:
    """Put other values where they differ, in single values and in lists."""
    for key in keys:
        value = table.get(key)
        if isinstance(value, Array):
            for i, item in enumerate(value):
                if exchanged(item) != item:
                    value[i] = exchanged(item)
        elif value is not None and exchanged(value) != value:
            table[key] = exchanged(value)


def _set(row: Table, key: str, value: Any) -> None:
    """Set a value, written as a maker would; a new key joins the row before its blank lines."""
    item = tomlkit.parse(f"value = {written_value(value)}\n")["value"]
    if key in row:
        row[key] = item
        return
    body = row.value.body
    tail = []
    while body and body[-1][0] is None:
        _, item_there = body.pop()
        if not isinstance(item_there, Null):  # what a value taken out leaves behind
            tail.append(item_there)
    row.append(key, item)
    for space in reversed(tail):
        row.value.add(space)
