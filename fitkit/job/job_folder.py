"""The job folder: one costume or one set of parts for one wearer."""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from fitkit.errors import FileError, JobBusyError, JobError
from fitkit.findings import Finding
from fitkit.job.edit_history import EditHistory
from fitkit.job.folder_called import folder_called
from fitkit.job.job_lock import job_lock
from fitkit.job.made_from import (
    RECORD,
    FileDigests,
    MadeFrom,
    StepState,
    digest_of_value,
    state_of_step,
)
from fitkit.job.settings_text import Problem, read_settings, settings_problems
from fitkit.job.steps import STEPS, settings_of_step, step_named
from fitkit.job.whole_writes import (
    exchange_folder,
    has_leftovers,
    recover_folders,
    spare_folder,
    write_whole,
)

if TYPE_CHECKING:
    from fitkit.job.settings import JobSettings

__all__ = ["Job", "create_job", "held_job", "job_problems", "job_text", "open_job"]

_LAYOUT = 1
_IGNORED = {"Thumbs.db", "desktop.ini"}


@dataclass(frozen=True, slots=True)
class Job:
    """An open job: the folder, and ``job.toml`` as it was when opened.

    Attributes
    ----------
    folder
        The job folder, absolute.
    text
        The text of ``job.toml``, changes not yet written included.
    settings
        What the text says.
    text_on_disk
        The text as it stood when the job was opened.
    """

    folder: Path
    text: str
    settings: JobSettings
    text_on_disk: str

    @property
    def called(self) -> str:
        """The folder as one would type it after a command in the current folder."""
        return folder_called(self.folder)

    # -- what is there -------------------------------------------------------------------

    def result_folder(self, step: str) -> Path:
        """Return where a step keeps its result."""
        return self.folder / step_named(step).folder

    def photo_paths(self) -> tuple[Path, ...]:
        """Return the files in ``photos/`` in the order of their names."""
        folder = self.folder / "photos"
        if not folder.is_dir():
            return ()
        return tuple(
            sorted(
                path
                for path in folder.iterdir()
                if path.is_file() and not path.name.startswith(".") and path.name not in _IGNORED
            )
        )

    def mesh_path(self) -> Path | None:
        """Return the mesh file that stands in for photos, if ``[body] from_mesh`` names one."""
        name = self.settings.body.from_mesh
        return None if name is None else self.folder / name

    @property
    def from_photos(self) -> bool:
        """Whether the body comes from photos, not from a mesh or the tape list alone."""
        body = self.settings.body
        return body.from_mesh is None and body.from_tape is None

    def inputs(
        self,
        step: str,
        digests: FileDigests,
        *,
        photos: Mapping[str, Path] | None = None,
    ) -> dict[str, str]:
        """Return the digest of everything a step takes in now.

        ``photos`` gives, by future name, photos that are about to be added.
        """
        row = step_named(step)
        inputs = {"fitkit's way of making it": str(row.format)}
        inputs |= {
            section: digest_of_value(values)
            for section, values in settings_of_step(step, self.settings).items()
        }
        after = row.after
        if step == "scan":
            for path in self.photo_paths():
                inputs[f"photos/{path.name}"] = digests.digest(path)
            for name, path in (photos or {}).items():
                later = self.folder / "photos" / name
                inputs[f"photos/{name}"] = digests.digest(path, known_as=later)
        if step == "body" and (mesh := self.mesh_path()) is not None:
            inputs["the mesh"] = digests.digest(mesh) if mesh.is_file() else "not there"
        if step == "templates":
            for art in self.settings.artwork:
                path = self.folder / art.file
                inputs[art.file] = digests.digest(path) if path.is_file() else "not there"
        if step == "body" and not self.from_photos:
            after = ()
        for earlier in after:
            record = MadeFrom.read(self.result_folder(earlier))
            inputs[f"the {earlier}"] = record.result_digest() if record else "not made yet"
        for beside in row.where_made:
            state = self.state(beside, digests)
            made = state.record if state.state == "fresh" else None
            told = made.result_digest() if made is not None else "none that holds"
            inputs[f"the result of {beside}"] = told
        return inputs

    def state(self, step: str, digests: FileDigests | None = None) -> StepState:
        """Tell whether the result of one step can be used as it is."""
        digests = digests or FileDigests(self.folder)
        inputs = self.inputs(step, digests)
        return state_of_step(step, self.result_folder(step), inputs, digests)

    def unchanged_files(
        self, step: str, names: Sequence[str], digests: FileDigests
    ) -> dict[str, bytes] | None:
        """Return files of a step's last result; None when one is gone or was edited."""
        folder = self.result_folder(step)
        record = MadeFrom.read(folder)
        if record is None:
            return None
        content: dict[str, bytes] = {}
        for name in names:
            path = folder / name
            row = record.files.get(name)
            if row is None or not path.is_file() or digests.digest(path) != row[1]:
                return None
            content[name] = path.read_bytes()
        return content

    def steps(self) -> tuple[str, ...]:
        """Return the names of the steps this job needs.

        There is no scan without photos, and no layout on sheets before some stock is told or one
        has been asked for.
        """
        left_out = set() if self.from_photos else {"scan"}
        if not self.settings.stock and MadeFrom.read(self.result_folder("sheets")) is None:
            left_out.add("sheets")
        return tuple(step.name for step in STEPS if step.name not in left_out)

    # -- changes; hold the lock ----------------------------------------------------------

    @contextmanager
    def locked(self, doing: str) -> Iterator[None]:
        """Hold the job while working on it; put right what a crash left behind.

        Raises
        ------
        JobBusyError
            When another process holds it.
        """
        with job_lock(self.folder, doing=doing):
            for words in recover_folders(self.folder):
                self.log(f"after an interruption: {words}")
            yield

    def keep_result(
        self,
        step: str,
        files: Mapping[str, bytes],
        *,
        inputs: Mapping[str, str],
        digests: FileDigests,
        findings: Sequence[Finding] = (),
        seconds: float = 0.0,
        pieces: Mapping[str, str] | None = None,
    ) -> MadeFrom:
        """Put a step's result in the place of the last one, whole or not at all.

        Files that the maker put into the folder are carried over; files of the result that
        were edited by hand are set aside in ``.fitkit/set-aside`` before they are replaced.
        """
        import hashlib

        record = MadeFrom(
            step=step,
            inputs=dict(inputs),
            files={
                name: (len(content), hashlib.sha256(content).hexdigest())
                for name, content in files.items()
            },
            findings=tuple(findings),
            seconds=seconds,
            pieces=dict(pieces or {}),
        )
        folder = self.result_folder(step)
        before = MadeFrom.read(folder)
        own = self._own_files(step, before)
        edited: tuple[str, ...] = tuple(name for name in own if name in files)
        if before is not None:
            edited += state_of_step(step, folder, before.inputs, digests).edited
        self._set_aside(step, edited)
        exchange_folder(
            self.folder,
            step_named(step).folder,
            {**files, RECORD: record.as_bytes()},
            carried_over=own,
        )
        self._keep_layout()
        self.log(f"{step} made in {seconds:.1f} s, {len(findings)} findings")
        return record

    def keep_digests(self, digests: FileDigests) -> None:
        """Remember the digests of files, so that they need not be read again."""
        write_whole(digests.path, digests.as_bytes())

    def with_text(self, text: str) -> Job:
        """Return the job with other text, checked but not written yet."""
        return replace(self, text=text, settings=read_settings(text))

    def keep_text(self, words: str = "changed the job") -> None:
        """Write ``job.toml``, and remember what it said before.

        Parameters
        ----------
        words
            What the change did, for whoever takes it back.

        Raises
        ------
        JobError
            When somebody else changed it since the job was opened.
        """
        if self.text == self.text_on_disk:
            return
        path = self.folder / "job.toml"
        if path.exists() and job_text(self.folder) != self.text_on_disk:
            raise JobError(
                "job.toml was changed by another program in the meantime.",
                "Save it there, then run the command again.",
            )
        if self.text_on_disk:
            EditHistory.read(self.folder).added(self.text_on_disk, self.text, words).keep()
        write_whole(path, self.text.encode())

    def add_photos(self, staged: Mapping[str, Path]) -> None:
        """Move photos from a spare folder of the job into ``photos/``, by name."""
        folder = self.folder / "photos"
        try:
            folder.mkdir(exist_ok=True)
            for name, path in staged.items():
                os.replace(path, folder / name)
        except OSError as error:
            raise FileError(
                f"The photos cannot be put into '{folder}': {error.strerror}.",
                "Check that the disk is not full and that you may write there.",
            ) from error

    @contextmanager
    def staged_photos(
        self, originals: Sequence[Path], digests: FileDigests
    ) -> Iterator[dict[str, Path]]:
        """Yield copies of the photos that ``photos/`` does not hold yet, by the name each gets.

        The copies are gone after the block unless :meth:`add_photos` took them; the
        originals are only read.
        """
        held = {digests.digest(path): path.name for path in self.photo_paths()}
        names = {path.name.lower() for path in self.photo_paths()}
        staged: dict[str, Path] = {}
        with spare_folder(self.folder, "photos") as spare:
            for original in originals:
                if original.resolve().parent == (self.folder / "photos").resolve():
                    continue
                name = original.name
                number = 2
                while name.lower() in names:
                    name = f"{original.stem}-{number}{original.suffix}"
                    number += 1
                copy = spare / name
                try:
                    shutil.copyfile(original, copy)
                except OSError as error:
                    raise FileError(
                        f"The photo '{original}' cannot be copied: {error.strerror}.",
                        "Check that it is there and that the disk is not full.",
                    ) from error
                digest = digests.digest(copy, known_as=self.folder / "photos" / name)
                if digest in held:
                    copy.unlink()
                    continue
                held[digest] = name
                names.add(name.lower())
                staged[name] = copy
            yield staged

    def log(self, words: str) -> None:
        """Add a line to ``.fitkit/log``."""
        stamp = datetime.now(UTC).isoformat(timespec="seconds")
        try:
            with open(self.folder / ".fitkit" / "log", "a", encoding="utf-8") as file:
                file.write(f"{stamp} {words}\n")
        except OSError:
            pass  # the log is a convenience; the work goes on without it

    def _set_aside(self, step: str, names: Sequence[str]) -> None:
        source = self.result_folder(step)
        for name in names:
            stamp = datetime.now(UTC).strftime("%Y%m%d-%H%M%S")
            target = self.folder / ".fitkit" / "set-aside" / f"{step}-{stamp}" / name
            target.parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(source / name, target)
            self.log(f"{step}: {name} was changed by hand; that file is kept in {target.parent}")

    def _own_files(self, step: str, record: MadeFrom | None) -> tuple[str, ...]:
        folder = self.result_folder(step)
        if not folder.is_dir():
            return ()
        made = {*(record.files if record else ()), RECORD, *step_named(step).beside}
        found = (
            path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()
        )
        return tuple(sorted(name for name in found if name not in made))

    def _keep_layout(self) -> None:
        path = self.folder / ".fitkit" / "version"
        if not path.exists():
            write_whole(path, f"{_LAYOUT}\n".encode())


def open_job(folder: Path | str) -> Job:
    """Open a job folder, first putting right what a crash left half done.

    Raises
    ------
    JobError
        When it is not a job folder, its ``job.toml`` has a problem, or it was written by a
        newer fitkit.
    """
    folder = Path(folder).expanduser()
    text = job_text(folder)
    folder = folder.resolve()
    job = Job(folder, text, read_settings(text), text)
    _check_layout(folder)
    if has_leftovers(folder):
        try:
            with job.locked("recovering"):
                pass
        except JobBusyError:
            pass  # not a crash: another process is between two steps of its work
    return job


@contextmanager
def held_job(folder: Path | str, doing: str) -> Iterator[Job]:
    """Hold a job and open it as it is then: nothing that fitkit changes in it comes in between.

    Raises
    ------
    JobError
        As :func:`open_job`.
    JobBusyError
        When another process holds it.
    """
    job = open_job(folder)
    with job.locked(doing):
        yield job if job_text(job.folder) == job.text else open_job(job.folder)


def job_problems(folder: Path | str) -> tuple[Problem, ...]:
    """Return everything wrong in the ``job.toml`` of a folder."""
    return settings_problems(job_text(Path(folder).expanduser()))[1]


def create_job(folder: Path | str, text: str) -> Job:
    """Make a job folder with the given ``job.toml``.

    Raises
    ------
    JobError
        When there is a job, or anything else, already.
    """
    folder = Path(folder).expanduser()
    if (folder / "job.toml").exists():
        raise JobError(
            f"'{folder}' is a job already.", "Choose another name, or go on with: fitkit make."
        )
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise JobError(
            f"'{folder}' is there already and is not an empty folder.",
            "Choose a name that is not taken yet.",
        )
    settings = read_settings(text)
    try:
        (folder / "photos").mkdir(parents=True)
        (folder / ".fitkit").mkdir()
    except OSError as error:
        raise FileError(
            f"The folder '{folder}' cannot be made: {error.strerror}.",
            "Choose a place you may write to.",
        ) from error
    job = Job(folder.resolve(), text, settings, "")
    job._keep_layout()
    job.keep_text()
    return job


def job_text(folder: Path) -> str:
    """Return what ``job.toml`` says, whether it can be used or not.

    Raises
    ------
    JobError
        When the folder is not a job, or the text cannot be read.
    """
    path = folder / "job.toml"
    if not folder.exists():
        raise JobError(f"There is no folder '{folder}'.", f"Make a job with: fitkit start {folder}")
    if not path.is_file():
        raise JobError(
            f"'{folder}' is not a job: it holds no job.toml.",
            f"Name a job folder, or make one with: fitkit start {folder}",
        )
    try:
        return path.read_text(encoding="utf-8")
    except UnicodeDecodeError as error:
        raise JobError(
            f"'{path}' is not UTF-8 text (byte {error.start}).", "Save it as UTF-8 and try again."
        ) from error
    except OSError as error:
        raise FileError(
            f"'{path}' cannot be read: {error.strerror}.", "Check that you may read it."
        ) from error


def _check_layout(folder: Path) -> None:
    path = folder / ".fitkit" / "version"
    if not path.exists():
        return
    try:
        number = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        number = None
    if not isinstance(number, int):
        raise JobError(f"'{path}' does not hold a number.", f"Write {_LAYOUT} into it.")
    if number > _LAYOUT:
        raise JobError(
            f"The job was last worked on by a newer fitkit (layout {number}; this one knows "
            f"{_LAYOUT}).",
            "Update fitkit, or open the job with the version that wrote it.",
        )
