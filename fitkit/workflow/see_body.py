"""The body as it is looked at: its surface, and the surface it was reshaped from."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fitkit.geometry.mesh import TriangleMesh

__all__ = ["SeenBody", "see_body"]


@dataclass(frozen=True, slots=True, eq=False)
class SeenBody:
    """The body there is; ``before`` is the one it was reshaped from, where it was."""

    mesh: TriangleMesh
    before: TriangleMesh | None = None


def see_body(folder: Path | str) -> SeenBody | None:
    """Return the body of a job; None when none was made.

    Raises
    ------
    JobError
        When the folder is not a job, or a file is damaged.
    """
    from fitkit.job.body_files import FOUND_STEM, read_body
    from fitkit.job.job_folder import open_job
    from fitkit.job.made_from import MadeFrom

    kept = open_job(folder).result_folder("body")
    record = MadeFrom.read(kept)
    if record is None:
        return None
    reshaped = f"{FOUND_STEM}.ply" in record.files
    return SeenBody(
        read_body(kept).mesh, read_body(kept, stem=FOUND_STEM).mesh if reshaped else None
    )
