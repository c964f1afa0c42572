"""Reading result files, with words for what can be wrong with them."""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from fitkit.errors import JobError

__all__ = ["read_result_bytes", "read_result_json", "reading_result"]

_REMEDY = "Run fitkit make: it makes again what is missing or damaged."


@contextmanager
def reading_result(folder: Path, name: str) -> Iterator[None]:
    """Turn what goes wrong while a result file is understood into a JobError."""
    try:
        yield
    except JobError:
        raise
    except (KeyError, TypeError, ValueError, IndexError, OSError) as error:
        raise JobError(f"'{folder.name}/{name}' is damaged.", _REMEDY) from error


def read_result_bytes(folder: Path, name: str) -> bytes:
    """Return the content of a result file.

    Raises
    ------
    JobError
        When it is not there.
    """
    try:
        return (folder / name).read_bytes()
    except OSError as error:
        raise JobError(f"'{folder.name}/{name}' is not there.", _REMEDY) from error


def read_result_json(folder: Path, name: str, format_number: int) -> dict[str, Any]:
    """Return the values of a JSON result in the given format.

    Raises
    ------
    JobError
        When it is missing, damaged or in another format.
    """
    content = read_result_bytes(folder, name)
    with reading_result(folder, name):
        values = json.loads(content)
        if values["format"] != format_number:
            raise ValueError(values["format"])
        return dict(values)
