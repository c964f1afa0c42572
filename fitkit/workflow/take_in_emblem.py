"""An emblem's drawing or picture taken into the job folder, under a name of the job's own."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fitkit.job.arriving_emblem import ArrivingEmblem

__all__ = ["arriving_emblem", "take_in_emblem"]


def arriving_emblem(folder: Path | str) -> ArrivingEmblem:
    """Return what an emblem on its way into the job is written to.

    What an interrupted upload left behind long ago goes.
    """
    from fitkit.job.arriving_emblem import ArrivingEmblem
    from fitkit.job.arriving_file import clear_arriving
    from fitkit.job.job_folder import open_job

    job = open_job(folder)
    clear_arriving(job.folder)
    return ArrivingEmblem(job.folder)


def take_in_emblem(folder: Path | str, arrived: ArrivingEmblem) -> str:
    """Keep an emblem that has arrived whole; return its name in the job folder.

    Raises
    ------
    FileError
        When it is neither SVG nor a picture, is too large, or shows nothing.
    JobBusyError
        When work goes on in the job.
    """
    from fitkit.job.arriving_emblem import next_emblem_name
    from fitkit.job.job_folder import held_job

    suffix = arrived.whole()
    with held_job(folder, "taking in an emblem") as job:
        name = next_emblem_name(job.folder, suffix)
        arrived.path.replace(job.folder / name)
    return name
