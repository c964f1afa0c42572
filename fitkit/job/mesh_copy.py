"""A mesh file put into a job, for good only when what follows succeeds."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from fitkit.errors import FileError
from fitkit.job.job_folder import Job
from fitkit.job.whole_writes import write_whole

__all__ = ["kept_if_it_works"]


@contextmanager
def kept_if_it_works(job: Job, changed: Job, mesh: tuple[str, bytes] | None) -> Iterator[None]:
    """Write a mesh file and the changed ``job.toml``; put both back when the work inside fails.

    Hold the job's lock.

    Parameters
    ----------
    job, changed
        The job as it is, and with the text it is to have.
    mesh
        Name and content of a file to put into the job folder.
    """
    target = None if mesh is None else job.folder / mesh[0]
    before: bytes | None = None
    if target is not None and target.is_file():
        try:
            before = target.read_bytes()
        except OSError as error:
            raise FileError(
                f"'{target.name}' in the job cannot be read: {error.strerror or error}.",
                "Check that you may read it.",
            ) from error
    try:
        if target is not None and mesh is not None and mesh[1] != before:
            write_whole(target, mesh[1])
        changed.keep_text()
        yield
    except BaseException:
        if target is not None and before is not None:
            write_whole(target, before)
        elif target is not None:
            target.unlink(missing_ok=True)
        if changed.text != job.text_on_disk:
            write_whole(job.folder / "job.toml", job.text_on_disk.encode())
        raise
