"""The files that the steps of a job left, by step and name: what may be shown or taken away."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fitkit.job.job_folder import Job

__all__ = ["MadeFile", "made_files", "template_pictures"]


@dataclass(frozen=True, slots=True)
class MadeFile:
    """One file: where it lies, and a word that changes when its content does."""

    path: Path
    version: str


def made_files(folder: Path | str, step: str) -> Mapping[str, MadeFile]:
    """Return the files of a step's last result by name, and those that commands put beside them.

    Nothing where the step was never made.

    Raises
    ------
    JobError
        When the folder is not a job.
    """
    from fitkit.job.job_folder import open_job
    from fitkit.job.made_from import MadeFrom
    from fitkit.job.steps import step_named

    job = open_job(folder)
    kept = job.result_folder(step)
    record = MadeFrom.read(kept)
    if record is None:
        return {}
    files = {
        name: MadeFile(kept / name, digest[:12])
        for name, (_, digest) in record.files.items()
        if (kept / name).is_file()
    }
    for name in step_named(step).beside:
        path = kept / name
        if path.is_file():
            files[name] = MadeFile(path, f"{path.stat().st_mtime_ns:x}")
    return files


def template_pictures(job: Job, made: Mapping[str, MadeFile]) -> list[tuple[str, str]]:
    """Return patch and file name of the picture of each template, in the order of their numbers."""
    from fitkit.job.designs import part_numbers, patch_designs
    from fitkit.job.settings import file_stem

    designs = patch_designs(job.settings)
    numbers = part_numbers(designs)
    pictures = []
    for design in designs:
        for number in range(numbers[design.name], numbers[design.name] + 1 + design.paired):
            start = f"{number:02d}-{file_stem(design.name)}"
            pictures += [
                (design.name, name)
                for name in sorted(made)
                if name.startswith(start) and name.endswith(".png")
            ]
    return pictures
