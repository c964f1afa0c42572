"""Long work in a process of its own: how far it is, how it ended, and stopping it.

The process writes one line of JSON for each thing it has to say; the room reads them as they
come, so that the pages stay live whatever the work does to the machine.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import os
import signal
import sys
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from fitkit.workflow.time_left import TimeLeft

__all__ = ["Work"]

_SECONDS_TO_END = 5.0
_LONGEST_LINE = 1 << 22


class Work:
    """One piece of long work.

    Attributes
    ----------
    task, doing
        Its name, and what is being done in words.
    share
        How much is done, 0 to 1; never goes back.
    words
        What is being done just now, with the time left.
    step
        The step of the job that is being made just now; empty where that is not known.
    ending
        None while it runs; then ``"done"``, ``"stopped"`` or ``"failed"``.
    answer
        What the task returned, plain values.
    cause, remedy
        Why it failed and what to do.
    """

    def __init__(self, task: str, doing: str) -> None:
        self.task = task
        self.doing = doing
        self.share = 0.0
        self.words = ""
        self.step = ""
        self.ending: str | None = None
        self.answer: Mapping[str, Any] = {}
        self.cause = ""
        self.remedy = ""
        self.seconds = 0.0
        self._left = TimeLeft()
        self._began = time.monotonic()
        self._process: asyncio.subprocess.Process | None = None
        self._stopping = False
        self._begun = asyncio.Event()
        self._told: tuple[str, ...] | None = None
        self._reader: asyncio.Task[None] | None = None

    @property
    def running(self) -> bool:
        """Whether it goes on."""
        return self.ending is None

    async def start(
        self,
        folder: Path,
        arguments: Mapping[str, Any],
        *,
        heard: Callable[[], None],
        ended: Callable[[], None],
    ) -> None:
        """Begin; ``heard`` is called as it goes on, and ``ended`` once, however it ends."""
        try:
            self._process = await asyncio.create_subprocess_exec(
                sys.executable,
                "-m",
                "fitkit.room.worker",
                stdin=asyncio.subprocess.PIPE,
                stdout=asyncio.subprocess.PIPE,
                limit=_LONGEST_LINE,
                start_new_session=True,
            )
            order = {"task": self.task, "folder": str(folder), "arguments": dict(arguments)}
            assert self._process.stdin is not None
            # Left open: the worker ends when the room does, which closes it.
            self._process.stdin.write(json.dumps(order).encode() + b"\n")
            await self._process.stdin.drain()
        except OSError as error:
            self._end("failed", f"The work cannot be started: {error}.", "Close other programs.")
            ended()
        else:
            self._reader = asyncio.create_task(self._read(heard, ended))
        finally:
            self._begun.set()

    async def stop(self) -> None:
        """Stop it and wait until it has ended; what was made before stays."""
        if not self.running:
            return
        self._stopping = True
        await self._begun.wait()  # what is just being started is stopped too
        process = self._process
        if not self.running or process is None:
            return
        self._signal(signal.SIGTERM)
        try:
            await asyncio.wait_for(process.wait(), _SECONDS_TO_END)
        except TimeoutError:
            self._signal(getattr(signal, "SIGKILL", signal.SIGTERM))
        if self._reader is not None:
            await self._reader

    async def _read(self, heard: Callable[[], None], ended: Callable[[], None]) -> None:
        process = self._process
        assert process is not None
        assert process.stdout is not None
        said: dict[str, Any] = {}
        async for line in process.stdout:
            with contextlib.suppress(ValueError):
                said = json.loads(line)
                self._hear(said)
            heard()
        code = await process.wait()
        if process.stdin is not None:
            process.stdin.close()
        # Only now has it let go of the job.
        if self._stopping:
            self._end("stopped")
        elif self._told is not None:
            self._end(*self._told)
        else:
            self._end(
                "failed",
                f"The work ended without an answer (exit {code}).",
                "The machine may have run out of memory: close other programs and try again.",
            )
        ended()

    def _hear(self, said: Mapping[str, Any]) -> None:
        if "share" in said:
            self.share = max(self.share, float(said["share"]))
            left = self._left.words(self.share)
            self.words = ", ".join(filter(None, (str(said.get("words", "")), left)))
        elif "step" in said:
            self.step = str(said["step"])
        elif "answer" in said:
            self.answer, self.share = said["answer"], 1.0
            self._told = ("done",)
        elif "cause" in said:
            self._told = ("failed", str(said["cause"]), str(said["remedy"]))

    def _end(self, how: str, cause: str = "", remedy: str = "") -> None:
        self.ending, self.cause, self.remedy = how, cause, remedy
        self.seconds = time.monotonic() - self._began

    def _signal(self, number: int) -> None:
        process = self._process
        if process is None or process.returncode is not None:
            return
        with contextlib.suppress(ProcessLookupError, PermissionError):
            if sys.platform == "win32":
                process.terminate()
            else:
                os.killpg(process.pid, number)
