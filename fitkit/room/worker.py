"""The process that does long work for the room: one order in, progress and one answer out.

Run by :mod:`fitkit.room.work` as ``python -m fitkit.room.worker``. It ends by itself when the
room does, which closes its standard input.
"""

from __future__ import annotations

import json
import os
import signal
import sys
import threading
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

from fitkit.workflow.step_report import Progress, StepReport

__all__ = ["TASKS", "main"]

# A change holds the job while it is being kept: longer than that, somebody works on it.
_PATIENCE_S = 20.0


def _measured(
    folder: Path, reports: Sequence[StepReport], *, wanted: bool = False
) -> dict[str, Any]:
    """Lay the tape round a body that is new, for the maker to see at once; return the reports."""
    if wanted or any(report.step == "body" and report.ran for report in reports):
        from fitkit.workflow.measure_job import measure_job

        measure_job(folder)
    return {"steps": [report.as_dict() for report in reports]}


def _make(
    folder: Path, progress: Progress, begins: Callable[[str], None], until: str | None = None
) -> dict[str, Any]:
    from fitkit.workflow.make_job import make_job
    from fitkit.workflow.measure_job import kept_measures

    reports = make_job(folder, until=until, progress=progress, begins=begins)
    # Whoever asks for the body alone sees the tape round it, also where that was cut short before.
    return _measured(folder, reports, wanted=until == "body" and kept_measures(folder) is None)


def _adapt(
    folder: Path, progress: Progress, begins: Callable[[str], None], wanted: bool = True
) -> dict[str, Any]:
    from fitkit.workflow.adapt_job import adapt_job

    begins("body")
    adapted = adapt_job(folder, wanted=wanted, progress=progress)
    return adapted.as_dict() | _measured(folder, adapted.reports)


def _from_tape(
    folder: Path, progress: Progress, begins: Callable[[str], None], sizes: str, part: str
) -> dict[str, Any]:
    from fitkit.workflow.body_job import body_job

    begins("body")
    return _measured(folder, body_job(folder, from_tape=sizes, part=part, progress=progress))  # type: ignore[arg-type]  # checked there


def _from_mesh(
    folder: Path,
    progress: Progress,
    begins: Callable[[str], None],
    unit: str,
    up: str | None = None,
    front: str | None = None,
) -> dict[str, Any]:
    from fitkit.workflow.take_in_mesh import take_mesh

    begins("body")
    return _measured(folder, take_mesh(folder, unit, up=up, front=front, progress=progress))  # type: ignore[arg-type]  # checked there


def _measure(
    folder: Path,
    progress: Progress,
    begins: Callable[[str], None],  # noqa: ARG001  no step of its own
) -> dict[str, Any]:
    from fitkit.workflow.measure_job import measure_job

    progress(0.1, "laying the tape round the body")
    return measure_job(folder).as_dict()


def _nest(folder: Path, progress: Progress, begins: Callable[[str], None]) -> dict[str, Any]:
    from fitkit.workflow.nest_job import nest_job

    begins("sheets")
    stopped = threading.Event()
    # Told to stop, it keeps the best layout so far.
    signal.signal(signal.SIGTERM, lambda *_: stopped.set())
    reports = nest_job(folder, improve=True, progress=progress, cancelled=stopped.is_set)
    return {"steps": [report.as_dict() for report in reports]}


def _take_trim(
    folder: Path,
    progress: Progress,
    begins: Callable[[str], None],  # noqa: ARG001  no step of its own
    patch: str,
) -> dict[str, Any]:
    from fitkit.workflow.trim_job import take_trim

    return take_trim(folder, patch, progress=progress).as_dict()


def _try_forming(
    folder: Path,
    progress: Progress,
    begins: Callable[[str], None],  # noqa: ARG001  no step of its own
    patch: str,
) -> dict[str, Any]:
    from fitkit.workflow.try_forming import try_forming

    tried = try_forming(folder, patch, progress=progress)
    return {"patch": patch, "ways": [way.as_dict() for way in tried]}


TASKS: Mapping[str, Callable[..., dict[str, Any]]] = {
    "make": _make,
    "adapt": _adapt,
    "body from mesh": _from_mesh,
    "body from tape": _from_tape,
    "measure": _measure,
    "nest": _nest,
    "take trim": _take_trim,
    "try forming": _try_forming,
}
"""What the room may have done in a process of its own, by name."""


def main() -> None:
    """Do the one order on standard input."""
    # Whatever libraries print goes to the terminal; the lines to the room go out alone.
    lines = os.fdopen(os.dup(1), "w", encoding="utf-8")
    os.dup2(2, 1)
    if hasattr(os, "nice"):
        os.nice(5)  # the page answers first

    def say(**what: Any) -> None:
        print(json.dumps(what, ensure_ascii=False), file=lines, flush=True)

    order = json.loads(sys.stdin.readline())
    threading.Thread(target=_end_with_the_room, daemon=True).start()
    try:
        from fitkit.job.job_lock import patience

        with patience(_PATIENCE_S, lambda: say(share=0.0, words="waiting for the job")):
            answer = TASKS[order["task"]](
                Path(order["folder"]),
                progress=lambda share, words: say(share=round(share, 4), words=words),
                begins=lambda step: say(step=step),
                **order["arguments"],
            )
    except Exception as error:
        cause, remedy = _told(error)
        say(cause=cause, remedy=remedy)
    else:
        say(answer=answer)


def _told(error: Exception) -> tuple[str, str]:
    from fitkit.errors import FitkitError, explain_import_failure

    if isinstance(error, ImportError | OSError) and not isinstance(error, FitkitError):
        error = explain_import_failure(error) or error
    if isinstance(error, FitkitError):
        return error.cause, error.remedy
    if isinstance(error, MemoryError):
        return "The machine ran out of memory.", "Close other programs and try again."
    import traceback

    traceback.print_exc()
    return (
        f"fitkit itself failed ({type(error).__name__}: {error}).",
        "The terminal shows more: report it. The job is as the last finished step left it.",
    )


def _end_with_the_room() -> None:
    sys.stdin.read()
    os._exit(1)


if __name__ == "__main__":
    main()
