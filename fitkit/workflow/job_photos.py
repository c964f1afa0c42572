"""The photos of a job one by one: taken in, set aside, and what the last scan made of each."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from fitkit.errors import InputError, JobError
from fitkit.findings import Finding

if TYPE_CHECKING:
    from fitkit.job.arriving_photo import ArrivingPhoto

__all__ = [
    "MOST_PHOTOS",
    "JobPhoto",
    "arriving_photo",
    "bring_back_photos",
    "job_photos",
    "photo_path",
    "photos_aside",
    "set_photo_aside",
    "small_photo",
    "take_in_photo",
]

MOST_PHOTOS = 400
"""The most photos and films of a job that is filled by hand."""

_ASIDE = Path(".fitkit") / "set-aside" / "photos"


@dataclass(frozen=True, slots=True)
class JobPhoto:
    """One photo or film.

    Attributes
    ----------
    name
        Its file name in ``photos/``.
    state
        ``used`` by the last scan; ``left out`` by it; ``new`` since.
    findings
        What the scan noticed about it: why it was left out.
    version
        A word that changes when its content does.
    film
        Whether it is a film.
    """

    name: str
    state: Literal["used", "left out", "new"]
    findings: tuple[Finding, ...] = ()
    version: str = ""
    film: bool = False


def job_photos(folder: Path | str) -> tuple[JobPhoto, ...]:
    """Return the photos of a job in the order of their names.

    Raises
    ------
    JobError
        When the folder is not a job.
    """
    from fitkit.capture.photo import VIDEO_SUFFIXES
    from fitkit.job.job_folder import open_job
    from fitkit.job.made_from import MadeFrom
    from fitkit.job.scan_files import read_solved_cameras

    job = open_job(folder)
    scanned = job.result_folder("scan")
    record = MadeFrom.read(scanned)
    used: tuple[str, ...] = ()
    if record is not None:
        try:
            used = tuple(camera.photo for camera in read_solved_cameras(scanned).cameras)
        except JobError:
            record = None  # the scan is damaged, which its own state tells
    rows = []
    for path in job.photo_paths():
        film = path.suffix.lower() in VIDEO_SUFFIXES
        seen = any(photo.startswith(path.name) for photo in used) if film else path.name in used
        known = record is not None and f"photos/{path.name}" in record.inputs
        state: Literal["used", "left out", "new"] = "used" if seen else "left out"
        findings = record.findings if record else ()
        stat = path.stat()
        rows.append(
            JobPhoto(
                path.name,
                state if known else "new",
                tuple(one for one in findings if known and one.where == path.name),
                f"{stat.st_mtime_ns:x}{stat.st_size:x}",
                film,
            )
        )
    return tuple(rows)


def photo_path(folder: Path | str, name: str) -> Path | None:
    """Return where the photo of that very name lies; None when the job has none."""
    from fitkit.job.job_folder import open_job

    return next((path for path in open_job(folder).photo_paths() if path.name == name), None)


def small_photo(path: Path, longest_px: int) -> bytes:
    """Return a photo as a small JPEG, upright, without anything but its pixels.

    Raises
    ------
    FileError
        When it cannot be read.
    """
    from fitkit.job.small_picture import small_picture

    return small_picture(path, longest_px=longest_px, kind="JPEG")


def arriving_photo(folder: Path | str) -> ArrivingPhoto:
    """Return what a photo on its way into the job is written to.

    What an interrupted upload left behind long ago goes.

    Raises
    ------
    InputError
        When the job has as many photos as it can hold.
    """
    from fitkit.job.arriving_file import clear_arriving
    from fitkit.job.arriving_photo import ArrivingPhoto
    from fitkit.job.job_folder import open_job

    job = open_job(folder)
    clear_arriving(job.folder)
    if len(job.photo_paths()) >= MOST_PHOTOS:
        raise InputError(
            f"The job has {MOST_PHOTOS} photos, as many as it can hold.",
            "Set some aside first: 60 good ones from all round are plenty.",
        )
    return ArrivingPhoto(job.folder)


def take_in_photo(folder: Path | str, arrived: ArrivingPhoto) -> str | None:
    """Put a photo that has arrived whole among those of the job; return the name it got.

    None when the job holds the same photo already.

    Raises
    ------
    PhotoError
        When it is no photo or film.
    JobBusyError
        When work goes on in the job.
    """
    from fitkit.job.arriving_photo import next_photo_name
    from fitkit.job.job_folder import held_job
    from fitkit.job.made_from import FileDigests

    suffix = arrived.whole()
    with held_job(folder, "taking in photos") as job:
        digests = FileDigests(job.folder)
        same = digests.digest(arrived.path)
        if any(digests.digest(path) == same for path in job.photo_paths()):
            return None
        name = next_photo_name(job.folder, suffix)
        job.add_photos({name: arrived.path})
        job.keep_digests(digests)
    return name


def set_photo_aside(folder: Path | str, name: str) -> None:
    """Take a photo out of the job; it is kept in ``.fitkit/set-aside/photos``.

    Raises
    ------
    InputError
        When the job has none of that name.
    JobBusyError
        When work goes on in the job.
    """
    from fitkit.job.job_folder import held_job

    with held_job(folder, "setting a photo aside") as job:
        path = photo_path(folder, name)
        if path is None:
            raise InputError(f"The job has no photo '{name}'.", "Name one of those it has.")
        aside = job.folder / _ASIDE
        aside.mkdir(parents=True, exist_ok=True)
        path.replace(_free(aside, name))


def bring_back_photos(folder: Path | str) -> int:
    """Put every photo that was set aside back; return how many.

    Raises
    ------
    JobBusyError
        When work goes on in the job.
    """
    from fitkit.job.job_folder import held_job

    with held_job(folder, "bringing photos back") as job:
        paths = photos_aside(folder)
        for path in paths:
            path.replace(_free(job.folder / "photos", path.name))
    return len(paths)


def photos_aside(folder: Path | str) -> tuple[Path, ...]:
    """Return the photos that were set aside."""
    aside = Path(folder) / _ASIDE
    return tuple(sorted(aside.iterdir())) if aside.is_dir() else ()


def _free(folder: Path, name: str) -> Path:
    path, number = folder / name, 2
    while path.exists():
        path, number = folder / f"{Path(name).stem}-{number}{Path(name).suffix}", number + 1
    return path
