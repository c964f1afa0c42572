"""The jobs in a folder, to choose one from, and beginning a new one there."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from pathlib import Path

from fitkit.errors import FileError, FitkitError

__all__ = ["ShelvedJob", "free_folder", "shelved_jobs"]

_LONGEST_NAME = 40


@dataclass(frozen=True, slots=True)
class ShelvedJob:
    """One job of a folder.

    Attributes
    ----------
    folder
        Where it lies.
    name, wearer
        What it is called and who wears it; the folder's name where its ``job.toml`` has a fault.
    fault
        What is wrong with its ``job.toml``; empty where nothing is.
    """

    folder: Path
    name: str
    wearer: str = ""
    fault: str = ""


def shelved_jobs(shelf: Path | str) -> tuple[ShelvedJob, ...]:
    """Return the jobs that lie directly in a folder, the one worked on last first.

    Raises
    ------
    FileError
        When the folder cannot be read.
    """
    from fitkit.job.job_folder import open_job

    shelf = Path(shelf)
    try:
        found = [path for path in shelf.iterdir() if (path / "job.toml").is_file()]
        found.sort(key=lambda path: (path / "job.toml").stat().st_mtime, reverse=True)
    except OSError as error:
        raise FileError(
            f"The folder '{shelf}' cannot be read: {error.strerror}.", "Choose another folder."
        ) from error
    jobs = []
    for path in found:
        try:
            settings = open_job(path).settings
            jobs.append(ShelvedJob(path, settings.job.name, settings.wearer.name))
        except FitkitError as error:
            jobs.append(ShelvedJob(path, path.name, fault=error.cause))
    return tuple(jobs)


def free_folder(shelf: Path | str, name: str) -> Path:
    """Return a folder that is not there yet for a job of that name: letters, digits and dashes.

    Examples
    --------
    >>> free_folder("/no/such/shelf", "../Héron Warden!").as_posix()
    '/no/such/shelf/heron-warden'
    """
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    stem = re.sub(r"[^a-z0-9]+", "-", plain)[:_LONGEST_NAME].strip("-") or "job"
    shelf, number, folder = Path(shelf), 2, Path(shelf) / stem
    while folder.exists():
        folder, number = shelf / f"{stem}-{number}", number + 1
    return folder
