"""Whether anything in a job changed, told by times alone: cheap enough to ask each second."""

from __future__ import annotations

from pathlib import Path

__all__ = ["job_stamp"]


def job_stamp(folder: Path | str) -> tuple[tuple[str, int, int], ...]:
    """Return name, size and time of change of ``job.toml``, the photos and every result's record.

    Two calls that return the same found the same job; what is gone is left out.
    """
    from fitkit.job.made_from import RECORD
    from fitkit.job.steps import STEPS

    folder = Path(folder)
    names = ["job.toml", "photos", *(f"{step.folder}/{RECORD}" for step in STEPS)]
    rows = []
    for name in names:
        try:
            stat = (folder / name).stat()
        except OSError:
            continue
        rows.append((name, stat.st_size, stat.st_mtime_ns))
    return tuple(rows)
