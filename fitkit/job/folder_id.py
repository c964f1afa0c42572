"""What a job folder is known by, wherever it is moved."""

from __future__ import annotations

import uuid
from pathlib import Path

from fitkit.errors import FileError
from fitkit.job.whole_writes import write_whole

__all__ = ["folder_id", "kept_folder_id"]

_ID = Path(".fitkit") / "id"


def kept_folder_id(folder: Path) -> str:
    """Return the id that a job folder has, empty where there is none or no folder."""
    try:
        return (folder / _ID).read_text(encoding="ascii").strip()
    except (OSError, UnicodeDecodeError):
        return ""


def folder_id(folder: Path) -> str:
    """Return a job folder's id; the first time one is drawn and kept in it.

    It goes with the folder when that is moved, and into a copy of it too. A folder that takes no
    file has none: empty.
    """
    if kept := kept_folder_id(folder):
        return kept
    # Not seeded as all else is: no two folders may draw the same.
    drawn = uuid.uuid4().hex
    try:
        write_whole(folder / _ID, f"{drawn}\n".encode())
    except FileError:
        return ""
    return drawn
