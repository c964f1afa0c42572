"""The bundled sample job, from its photos to its printable pages and its build book."""

from __future__ import annotations

from pathlib import Path

from fitkit.errors import JobError
from fitkit.workflow.step_report import Progress, StepReport

__all__ = ["DEMO_FOLDER", "demo", "sample_folder"]

DEMO_FOLDER = "heron-warden-demo"
_SAMPLE = Path("sample_scans") / "heron_warden"


def sample_folder() -> Path:
    """Return where the sample job lies: beside the package, or in the current folder.

    Raises
    ------
    JobError
        When it is in neither.
    """
    import fitkit

    for root in (Path(fitkit.__file__).resolve().parents[1], Path.cwd()):
        if (root / _SAMPLE / "job.toml").is_file():
            return root / _SAMPLE
    raise JobError(
        f"The sample job is not here: there is no {_SAMPLE.as_posix()} beside fitkit or in this "
        "folder.",
        "Run fitkit demo from the folder that fitkit was cloned into.",
    )


def demo(
    folder: Path | str | None = None, *, progress: Progress | None = None
) -> tuple[StepReport, ...]:
    """Copy the sample job and make it; go on with a copy that is there already.

    Parameters
    ----------
    folder
        Where to work; ``heron-warden-demo`` in the current folder when not given.

    Raises
    ------
    JobError
        When the sample is not at hand, or the folder holds something else.
    """
    from fitkit.job.job_copy import copy_job
    from fitkit.workflow.make_job import make_job

    folder = Path(folder).expanduser() if folder is not None else Path(DEMO_FOLDER)
    if not (folder / "job.toml").is_file():
        copy_job(sample_folder(), folder)
    return make_job(folder, also=("book",), progress=progress)
