"""Taking changes of ``job.toml`` back, and making them again."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from fitkit.job.edit_history import EditHistory
from fitkit.job.job_folder import job_text
from fitkit.job.job_lock import job_lock
from fitkit.job.whole_writes import write_whole
from fitkit.workflow.step_report import StepReport

__all__ = ["EditsToStep", "edits_to_step", "step_edit"]


@dataclass(frozen=True, slots=True)
class EditsToStep:
    """What the next step back and the next step forward would change, None where there is none."""

    to_undo: str | None
    to_redo: str | None


def edits_to_step(folder: Path | str) -> EditsToStep:
    """Return what can be taken back and made again; nothing is written.

    Raises
    ------
    JobError
        When the folder is not a job.
    """
    folder = Path(folder).expanduser()
    history = EditHistory.read(folder).met(job_text(folder))
    return EditsToStep(history.to_undo, history.to_redo)


def step_edit(folder: Path | str, *, back: bool) -> StepReport:
    """Take back the last change of ``job.toml``, or make again the one taken back last.

    It works also where ``job.toml`` was edited by hand into something that cannot be read. Results
    are left alone: those that were made from what it says now hold again.

    Raises
    ------
    JobError
        When there is no such change.
    JobBusyError
        When another process holds the job.
    """
    folder = Path(folder).expanduser().resolve()
    command = "undo" if back else "redo"
    job_text(folder)  # what is no job is not held
    with job_lock(folder, doing=command):
        now = job_text(folder)
        history, text = EditHistory.read(folder).stepped(now, back=back)
        write_whole(folder / "job.toml", text.encode())
        history.keep()
    words = f"taken back: {history.to_redo}" if back else f"made again: {history.to_undo}"
    return StepReport(command, ran=True, words=words, files=(folder / "job.toml",))
