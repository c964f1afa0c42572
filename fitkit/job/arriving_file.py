"""A file on its way into the job, written piece by piece.

It lies in ``.fitkit/arriving`` under a name of the job's own until it is whole and known to be
what is wanted.
"""

from __future__ import annotations

import contextlib
import os
import secrets
import time
from pathlib import Path
from types import TracebackType
from typing import Self

from fitkit.errors import FileError

__all__ = ["ArrivingFile", "clear_arriving"]

_FOLDER = Path(".fitkit") / "arriving"
_GIVEN_UP_S = 3600.0


class ArrivingFile:
    """A file that is being received; gone after the ``with`` block unless it was moved away.

    Parameters
    ----------
    job_folder
        The job that it is for.

    Attributes
    ----------
    path
        Where it lies meanwhile.
    """

    def __init__(self, job_folder: Path) -> None:
        folder = job_folder / _FOLDER
        self.path = folder / secrets.token_hex(8)
        try:
            folder.mkdir(parents=True, exist_ok=True)
            self._file = open(self.path, "xb")  # noqa: SIM115  closed when the block ends
        except OSError as error:
            raise _no_room(error) from error

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._file.close()
        with contextlib.suppress(OSError):
            self.path.unlink()
        with contextlib.suppress(OSError):
            self.path.parent.rmdir()  # goes only when nothing else is on its way

    def write(self, piece: bytes) -> None:
        """Add a piece.

        Raises
        ------
        FileError
            When the disk does not take it.
        """
        try:
            self._file.write(piece)
        except OSError as error:
            raise _no_room(error) from error

    def flush(self) -> None:
        """See to it that all that arrived is on the disk.

        Raises
        ------
        FileError
            When the disk does not take it.
        """
        try:
            self._file.flush()
            os.fsync(self._file.fileno())
        except OSError as error:
            raise _no_room(error) from error


def clear_arriving(job_folder: Path) -> None:
    """Take away what never arrived whole: what nothing was added to for an hour."""
    folder = job_folder / _FOLDER
    if not folder.is_dir():
        return
    for path in folder.iterdir():
        with contextlib.suppress(OSError):
            if time.time() - path.stat().st_mtime > _GIVEN_UP_S:
                path.unlink()
    with contextlib.suppress(OSError):
        folder.rmdir()  # goes only when nothing is on its way


def _no_room(error: OSError) -> FileError:
    return FileError(
        f"The file cannot be kept: {error.strerror or error}.",
        "Check that the disk is not full and that you may write into the job folder.",
    )
