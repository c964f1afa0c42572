"""One process at a time on a job: the second is told who is at work.

The operating system's file lock decides, so that a process that dies, however it dies,
lets go of the job by itself. The lock file says who holds it; it exists only while held.
"""

from __future__ import annotations

import contextlib
import json
import os
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import UTC, datetime
from pathlib import Path

from fitkit.errors import FileError, JobBusyError

__all__ = ["LOCK_FILE", "job_lock", "patience"]

LOCK_FILE = ".fitkit/lock"
"""Where the lock lies in the job folder."""

# Past what is written in the file: on Windows a locked range cannot be read by others.
_WINDOWS_OFFSET = 1 << 20
_SECONDS_BETWEEN_TRIES = 0.05

_Patience = tuple[float, Callable[[], None]]
_patience: ContextVar[_Patience] = ContextVar("_patience", default=(0.0, lambda: None))


@contextmanager
def patience(seconds: float, waits: Callable[[], None]) -> Iterator[None]:
    """Let :func:`job_lock` wait, inside the block and in its thread, for a job that is held.

    For long work: a change that is just being kept holds the job for a moment only.

    Parameters
    ----------
    seconds
        How long each time.
    waits
        Called each time that waiting begins.
    """
    token = _patience.set((seconds, waits))
    try:
        yield
    finally:
        _patience.reset(token)


@contextmanager
def job_lock(folder: Path, *, doing: str) -> Iterator[None]:
    """Hold the job for the length of a ``with`` block.

    Parameters
    ----------
    folder
        The job folder.
    doing
        What is being done, in words, for whoever finds the job locked.

    Raises
    ------
    JobBusyError
        When another process that is alive holds it; the cause says which and since when.
    """
    path = folder / LOCK_FILE
    descriptor = _waited_for(path)
    try:
        holder = {
            "pid": os.getpid(),
            "since": datetime.now(UTC).isoformat(timespec="seconds"),
            "doing": doing,
        }
        os.ftruncate(descriptor, 0)
        os.lseek(descriptor, 0, os.SEEK_SET)
        os.write(descriptor, json.dumps(holder).encode())
        yield
    finally:
        # Removed while still locked; whoever waits on the same file sees that it is gone.
        if sys.platform == "win32":
            os.close(descriptor)
            _remove(path)
        else:
            _remove(path)
            os.close(descriptor)


def _waited_for(path: Path) -> int:
    seconds, waits = _patience.get()
    until: float | None = None
    while True:
        try:
            return _acquired(path)
        except JobBusyError:
            if until is None and seconds > 0.0:
                until = time.monotonic() + seconds
                waits()
            if until is None or time.monotonic() > until:
                raise
        time.sleep(_SECONDS_BETWEEN_TRIES)


def _acquired(path: Path) -> int:
    for _ in range(20):
        try:
            path.parent.mkdir(exist_ok=True)
            descriptor = os.open(path, os.O_RDWR | os.O_CREAT, 0o644)
        except (FileNotFoundError, FileExistsError) as error:
            if path.parent.exists() and not path.parent.is_dir():
                raise FileError(
                    f"'{path.parent}' is a file where fitkit keeps a folder.", "Move it away."
                ) from error
            continue  # the last holder removed the folder between our two steps
        except OSError as error:
            raise FileError(
                f"The job folder '{path.parent.parent}' cannot be written: {error.strerror}.",
                "Check that it is on a disk you may write to, and that the disk is not full.",
            ) from error
        try:
            if not _locked(descriptor):
                holder = _holder(path)
                if _alive(holder.get("pid")):
                    raise _busy(path, holder)
                # A worker of a dead process still has the old file open: leave it that one.
                _remove(path)
                os.close(descriptor)
                continue
            if _is_current(descriptor, path):
                return descriptor
        except BaseException:
            os.close(descriptor)
            raise
        os.close(descriptor)
    raise _busy(path, _holder(path))


def _busy(path: Path, holder: dict[str, object]) -> JobBusyError:
    doing = f" ({holder['doing']})" if holder.get("doing") else ""
    return JobBusyError(
        f"Process {holder.get('pid', 'unknown')}{doing} has been working on the job "
        f"'{path.parent.parent.name}' since {holder.get('since', 'a moment ago')}.",
        "Wait until it is done, or stop that process, then do this again.",
    )


def _locked(descriptor: int) -> bool:
    """Try to lock an open file without waiting; False when another process has it."""
    try:
        if sys.platform == "win32":
            import msvcrt

            os.lseek(descriptor, _WINDOWS_OFFSET, os.SEEK_SET)
            msvcrt.locking(descriptor, msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True


def _is_current(descriptor: int, path: Path) -> bool:
    """Tell whether the path still names the open file (its last holder may have removed it)."""
    if sys.platform == "win32":
        return True
    try:
        return os.path.samestat(os.fstat(descriptor), os.stat(path))
    except FileNotFoundError:
        return False


def _holder(path: Path) -> dict[str, object]:
    try:
        holder = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return holder if isinstance(holder, dict) else {}


def _alive(pid: object) -> bool:
    if not isinstance(pid, int) or pid <= 0 or sys.platform == "win32":
        return True  # not known, so take the lock at its word
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except PermissionError:
        return True
    return True


def _remove(path: Path) -> None:
    with contextlib.suppress(OSError):
        path.unlink()
    with contextlib.suppress(OSError):
        path.parent.rmdir()  # goes only when nothing else is in it
