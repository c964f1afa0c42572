"""Copying what a job is made from, without its results."""

from __future__ import annotations

import os
import shutil
import tomllib
from pathlib import Path

from fitkit.errors import FileError, JobError

__all__ = ["copy_job"]


def copy_job(source: Path, target: Path) -> None:
    """Copy ``job.toml``, ``photos/`` and artwork to a new folder, whole or not at all.

    Raises
    ------
    JobError
        When the target holds something already.
    FileError
        When the disk does not take it.
    """
    if target.exists() and (not target.is_dir() or any(target.iterdir())):
        raise JobError(
            f"'{target}' is there already and is not a job.", "Name a folder that is not taken yet."
        )
    spare = target.with_name(f".{target.name}.{os.getpid()}.part")
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.rmtree(spare, ignore_errors=True)
        spare.mkdir()
        shutil.copyfile(source / "job.toml", spare / "job.toml")
        if (source / "photos").is_dir():
            (spare / "photos").mkdir()
            for photo in sorted((source / "photos").iterdir()):
                if photo.is_file():
                    shutil.copyfile(photo, spare / "photos" / photo.name)
        for name in _artwork_files((source / "job.toml").read_text(encoding="utf-8")):
            if (source / name).is_file():
                (spare / name).parent.mkdir(parents=True, exist_ok=True)
                shutil.copyfile(source / name, spare / name)
        if target.exists():
            target.rmdir()  # an empty folder makes way
        os.rename(spare, target)
    except OSError as error:
        raise FileError(
            f"The job cannot be copied to '{target}': {error.strerror or error}.",
            "Check that the disk is not full and that you may write there.",
        ) from error
    finally:
        shutil.rmtree(spare, ignore_errors=True)


def _artwork_files(text: str) -> list[str]:
    """Return the files inside the job folder that its artwork names."""
    try:
        rows = tomllib.loads(text).get("artwork", [])
    except tomllib.TOMLDecodeError:
        return []
    names = [str(row["file"]) for row in rows if isinstance(row, dict) and "file" in row]
    return [name for name in names if not name.startswith("/") and ".." not in name.split("/")]
