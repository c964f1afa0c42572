"""Files and folders written whole or not at all.

A file is written under another name, flushed to the disk and renamed into place. A result
folder is built complete beside the old one and exchanged by two renames; the old one stays
until the new one stands. A crash between the two renames is put right by
:func:`recover_folders` when the job is next opened, so at every moment the last good result
is there or comes back.
"""

from __future__ import annotations

import contextlib
import os
import shutil
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

from fitkit.errors import FileError

__all__ = ["exchange_folder", "has_leftovers", "recover_folders", "spare_folder", "write_whole"]

_KEEPING = ".fitkit"
_NEW, _OLD = "new-", "old-"


def _flush_folder(folder: Path) -> None:
    # Renames reach the disk with their folder; Windows has no such call and needs none.
    if os.name != "posix":
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def _write_flushed(path: Path, content: bytes) -> None:
    with open(path, "wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())


@contextmanager
def _words_for(path: Path) -> Iterator[None]:
    try:
        yield
    except FileError:
        raise
    except OSError as error:
        raise FileError(
            f"'{path}' cannot be written: {error.strerror or error}.",
            "Check that the disk is not full, that you may write there, and that no other "
            "program has it open.",
        ) from error


def write_whole(path: Path, content: bytes) -> None:
    """Write or replace one file so that a crash leaves the old content or the new.

    Raises
    ------
    FileError
        When the disk does not take it.
    """
    spare = path.with_name(f".{path.name}.{os.getpid()}.part")
    with _words_for(path):
        try:
            _write_flushed(spare, content)
            os.replace(spare, path)
            _flush_folder(path.parent)
        finally:
            with contextlib.suppress(OSError):
                spare.unlink()


@contextmanager
def spare_folder(job_folder: Path, name: str) -> Iterator[Path]:
    """Yield an empty folder inside the job's keeping that is gone after the block."""
    spare = job_folder / _KEEPING / f"{_NEW}{name}"
    with _words_for(spare):
        shutil.rmtree(spare, ignore_errors=True)
        spare.mkdir(parents=True)
    try:
        yield spare
    finally:
        shutil.rmtree(spare, ignore_errors=True)


def exchange_folder(
    job_folder: Path,
    name: str,
    files: Mapping[str, bytes],
    *,
    carried_over: tuple[str, ...] = (),
    between: Callable[[str], None] | None = None,
) -> None:
    """Put a new result folder in the place of the old one.

    Parameters
    ----------
    job_folder, name
        The job, and the folder in it to exchange.
    files
        Content by path relative to that folder.
    carried_over
        Files of the old folder to copy into the new one: what the maker put there.
    between
        Called with a word before each stage; tests stop the process there.

    Raises
    ------
    FileError
        When the disk does not take it; the old folder then still stands.
    """
    tell = between or (lambda _: None)
    target = job_folder / name
    old = job_folder / _KEEPING / f"{_OLD}{name}"
    with _words_for(target), spare_folder(job_folder, name) as new:
        tell("building")
        for relative, content in files.items():
            path = new / relative
            path.parent.mkdir(parents=True, exist_ok=True)
            _write_flushed(path, content)
        for relative in carried_over:
            if relative not in files:
                (new / relative).parent.mkdir(parents=True, exist_ok=True)
                shutil.copy2(target / relative, new / relative)
        for folder in {new, *(path for path in new.rglob("*") if path.is_dir())}:
            _flush_folder(folder)
        tell("built")
        if target.exists():
            shutil.rmtree(old, ignore_errors=True)
            os.rename(target, old)
        tell("moved aside")
        try:
            os.rename(new, target)
        except OSError:
            if old.exists():
                os.rename(old, target)
            raise
        tell("exchanged")
        _flush_folder(job_folder)
        _flush_folder(job_folder / _KEEPING)
        shutil.rmtree(old, ignore_errors=True)
        tell("done")


def recover_folders(job_folder: Path) -> tuple[str, ...]:
    """Undo what a crash left half done; return what was put right, in words.

    Call it only while holding the job's lock.
    """
    keeping = job_folder / _KEEPING
    done: list[str] = []
    if not keeping.is_dir():
        return ()
    for left in sorted(keeping.glob(f"{_OLD}*")):
        target = job_folder / left.name.removeprefix(_OLD)
        if target.exists():
            shutil.rmtree(left, ignore_errors=True)
        else:
            with _words_for(target):
                os.rename(left, target)
            done.append(f"{target.name} is back as it was before the interruption")
    for left in sorted(keeping.glob(f"{_NEW}*")):
        shutil.rmtree(left, ignore_errors=True)
        done.append(f"an unfinished {left.name.removeprefix(_NEW)} was cleared away")
    for left in sorted(job_folder.glob(".job.toml.*.part")):
        with contextlib.suppress(OSError):
            left.unlink()
    return tuple(done)


def has_leftovers(job_folder: Path) -> bool:
    """Tell whether a crash left something for :func:`recover_folders` to do."""
    keeping = job_folder / _KEEPING
    return any(next(keeping.glob(f"{start}*"), None) is not None for start in (_OLD, _NEW)) or any(
        job_folder.glob(".job.toml.*.part")
    )
