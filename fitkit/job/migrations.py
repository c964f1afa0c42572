"""Older formats of ``job.toml``, brought up to date one step at a time by named functions.

Each function takes the values of one format and returns those of the next; for each a
sample file in the old format is kept in ``tests/job/samples``. The file on disk stays as
the maker wrote it until something is changed in it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from fitkit.errors import JobError

__all__ = ["MIGRATIONS", "migrated"]

_NEWEST = 1

MIGRATIONS: dict[int, Callable[[dict[str, Any]], dict[str, Any]]] = {}
"""By the format a function starts from. Format 1 is the first, so there is none yet."""


def migrated(
    values: dict[str, Any],
    *,
    newest: int = _NEWEST,
    migrations: Mapping[int, Callable[[dict[str, Any]], dict[str, Any]]] = MIGRATIONS,
) -> dict[str, Any]:
    """Return the values in the newest format.

    Raises
    ------
    JobError
        When the format is missing, not a number, or newer than this fitkit knows.
    """
    number = values.get("format")
    if number is None:
        raise JobError("the format number is missing.", f"Add format = {newest} as the first line.")
    if isinstance(number, bool) or not isinstance(number, int) or number < 0:
        raise JobError(f"the format is {number!r}.", f"Write format = {newest}.")
    if number > newest:
        raise JobError(
            f"the job was written by a newer fitkit (format {number}; this one knows {newest}).",
            "Update fitkit, or open the job with the version that wrote it.",
        )
    while number < newest:
        if number not in migrations:
            raise JobError(
                f"format {number} is too old for this fitkit.", f"Write it in format {newest}."
            )
        values = {**migrations[number](values), "format": number + 1}
        number += 1
    return values
