"""The job that stands open in the room, the work going on in it, and when either changed.

One room has one job open. Every page shows this same value, so that a reload and a second tab
show the same thing; nothing lives in a page alone.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Hashable, Mapping
from pathlib import Path
from typing import Any, TypeVar

from fitkit.errors import FitkitError, JobBusyError, JobError
from fitkit.room.followers import Followers
from fitkit.room.following import Following
from fitkit.room.work import Work
from fitkit.workflow.check_job import JobCheck, check_job
from fitkit.workflow.edit_settings import read_job_settings
from fitkit.workflow.made_files import MadeFile, made_files
from fitkit.workflow.watch_job import job_stamp

__all__ = ["RoomSession"]

_SECONDS_BETWEEN_LOOKS = 1.0
_Seen = TypeVar("_Seen")


class RoomSession:
    """What every page of one room shows.

    Parameters
    ----------
    shelf
        The folder whose jobs can be opened and where new ones are made.
    folder
        The job to open at once, if any.

    Attributes
    ----------
    revision
        Raised whenever something in the job changed, by whoever it was.
    work
        The long work that runs or ran last; None before the first.
    followers
        Told whenever either changed, and as work goes on.
    turn
        Held while work is begun, and by whoever changes what the next work is to be of.
    following
        The steps that are made anew after a change.
    """

    def __init__(self, shelf: Path, folder: Path | None = None) -> None:
        self.shelf = shelf
        self.folder = folder
        self.revision = 0
        self.work: Work | None = None
        self.followers = Followers()
        self.turn = asyncio.Lock()
        self.following = Following(self)
        self._stamp: object = None
        self._checked: tuple[int, JobCheck] | None = None
        self._made: tuple[int, dict[str, Mapping[str, MadeFile]]] = (-1, {})
        self._seen: dict[str, tuple[Hashable, Any]] = {}
        self._answers: dict[str, Mapping[str, Any]] = {}

    # -- the open job --------------------------------------------------------------------

    def take_up(self, folder: Path) -> None:
        """Open another job in every page.

        Raises
        ------
        JobError
            When the folder is not a job, or work goes on in another one that is open.
        """
        if self.folder is not None and folder.resolve() == self.folder.resolve():
            check_job(folder)
            self.changed()
            return
        if self.working:
            raise JobBusyError(
                "Work is going on in the open job.", "Wait until it is done, or stop it."
            )
        check_job(folder)
        self.following.forget()
        self.folder, self.work, self._answers = folder, None, {}
        self.changed()

    def job(self) -> Path:
        """Return the folder of the open job.

        Raises
        ------
        JobError
            When none is open.
        """
        if self.folder is None:
            raise JobError("No job is open.", "Open one, or begin a new one.")
        return self.folder

    def check(self) -> JobCheck:
        """Return the state of every step and every finding; worked out once a revision."""
        if self._checked is None or self._checked[0] != self.revision:
            self._checked = self.revision, check_job(self.job())
        return self._checked[1]

    def settings(self) -> Mapping[str, Any]:
        """Return what ``job.toml`` says; read once a revision.

        Nothing where it cannot be read, which the head of the page tells.
        """

        def read() -> Mapping[str, Any]:
            try:
                return read_job_settings(self.job())
            except FitkitError:
                return {}

        return self.seen("settings", self.revision, read)

    def made(self, step: str) -> Mapping[str, MadeFile]:
        """Return the files of a step's result by name; looked up once a revision."""
        if self._made[0] != self.revision:
            self._made = self.revision, {}
        known = self._made[1]
        if step not in known:
            known[step] = made_files(self.job(), step)
        return known[step]

    def versions(self, *steps: str) -> Hashable:
        """Return what changes when the result of one of the steps does."""
        made = (self.made(step).items() for step in steps)
        return tuple((name, file.version) for files in made for name, file in files)

    def seen(self, what: str, of: Hashable, read: Callable[[], _Seen]) -> _Seen:
        """Return what ``read`` returned last, unless what it depends on is another."""
        key = (self.folder, of)
        if what not in self._seen or self._seen[what][0] != key:
            self._seen[what] = key, read()
        found: _Seen = self._seen[what][1]
        return found

    def answer(self, task: str) -> Mapping[str, Any]:
        """Return what the task answered last in this job; nothing before it has."""
        return self._answers.get(task, {})

    def changed(self) -> None:
        """Tell every page that the job may have changed."""
        # What is told here need not be noticed again: pages are built anew once.
        self._stamp = job_stamp(self.folder) if self.folder is not None else None
        self.revision += 1
        self.followers.tell()

    # -- long work -----------------------------------------------------------------------

    @property
    def working(self) -> bool:
        """Whether long work is going on."""
        return self.work is not None and self.work.running

    @property
    def going(self) -> str:
        """The step that is being made; empty when none is."""
        return self.work.step if self.work is not None and self.work.running else ""

    def in_words(self, error: FitkitError) -> str:
        """Return what went wrong and what to do, as one says it in the room.

        What holds the job is the room's own work, where some is going on.
        """
        if isinstance(error, JobBusyError) and self.work is not None and self.working:
            return (
                f"{self.work.doing} is still going on, and nothing else can change the job until "
                "then. Wait until it is done, or stop it; then do this again."
            )
        return f"{error.cause} {error.remedy}"

    def forget_work(self) -> None:
        """Say no more of how the last work ended."""
        if not self.working:
            self.work = None
            self.changed()

    async def start(self, task: str, doing: str, **arguments: Any) -> None:
        """Begin long work on the open job in a process of its own.

        Parameters
        ----------
        task
            Name of a task of :mod:`fitkit.room.worker`.
        doing
            What is being done, in words for the maker.
        arguments
            Plain values for the task.

        Raises
        ------
        JobBusyError
            When work is going on already.
        """
        async with self.turn:
            await self.begin(task, doing, **arguments)

    async def begin(self, task: str, doing: str, **arguments: Any) -> None:
        """Do as :meth:`start`; hold the turn."""
        if self.working:
            raise JobBusyError(
                "Something is being made already.", "Wait until it is done, or stop it."
            )
        work = self.work = Work(task, doing)

        def ended() -> None:
            if work.ending == "done":
                self._answers[task] = work.answer
            self.changed()
            self.following.go_on()

        self.changed()
        await work.start(self.job(), arguments, heard=self.followers.tell, ended=ended)

    async def stop_work(self) -> None:
        """Stop the work that is going on; the job stays as the last finished step left it.

        Nothing follows: whoever says stop wants quiet.
        """
        self.following.forget()
        if self.work is not None:
            await self.work.stop()

    # -- watching ------------------------------------------------------------------------

    async def watch(self) -> None:
        """Look for ever whether another program changed the job."""
        while True:
            await asyncio.sleep(_SECONDS_BETWEEN_LOOKS)
            if self.folder is None:
                continue
            if job_stamp(self.folder) != self._stamp:
                self.changed()
