"""What ``job.toml`` said before each change, so that every change can be taken back.

The texts lie one by one in ``.fitkit/edits``, numbered in order, beside a list of what each change
did. A text that somebody wrote with an editor is met when the next change is made, or taken back,
and becomes a change of its own. Nothing is ever dropped but what was taken back before another
change was made.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from itertools import count
from pathlib import Path

from fitkit.errors import JobError
from fitkit.job.whole_writes import write_whole

__all__ = ["EditHistory"]

_BY_HAND = "changed job.toml by hand"


@dataclass(frozen=True, slots=True)
class EditHistory:
    """The changes of a job in order, and how many of them stand.

    Attributes
    ----------
    folder
        Where the texts lie.
    edits
        What each change did, in words, the oldest first.
    standing
        How many of them are in ``job.toml`` now; those behind were taken back.
    unkept
        Texts by number that are not written yet.
    """

    folder: Path
    edits: tuple[str, ...] = ()
    standing: int = 0
    unkept: Mapping[int, str] = field(default_factory=dict)

    @property
    def to_undo(self) -> str | None:
        """What the last change that stands did, None where there is none."""
        return self.edits[self.standing - 1] if self.standing else None

    @property
    def to_redo(self) -> str | None:
        """What the change taken back last did, None where there is none."""
        return self.edits[self.standing] if self.standing < len(self.edits) else None

    @classmethod
    def read(cls, job_folder: Path) -> EditHistory:
        """Return what is remembered of a job; nothing where that is damaged or not there."""
        folder = job_folder / ".fitkit" / "edits"
        try:
            kept = json.loads((folder / "edits.json").read_text(encoding="utf-8"))
            edits, standing = tuple(map(str, kept["edits"])), int(kept["standing"])
        except (OSError, ValueError, KeyError, TypeError):
            return cls(folder)
        return cls(folder, edits, standing) if 0 <= standing <= len(edits) else cls(folder)

    def met(self, text: str) -> EditHistory:
        """Return the history brought up to what ``job.toml`` says now."""
        # One off is where a change or a step back was interrupted.
        for near in (self.standing, self.standing - 1, self.standing + 1):
            if 0 <= near <= len(self.edits) and self._text(near) == text:
                return replace(self, standing=near)
        if self._text(self.standing) is None:
            return EditHistory(self.folder, unkept={0: text})
        return self._followed_by(text, _BY_HAND)

    def added(self, before: str, after: str, words: str) -> EditHistory:
        """Return the history with one more change, those taken back dropped."""
        return self.met(before)._followed_by(after, words)

    def stepped(self, text: str, *, back: bool) -> tuple[EditHistory, str]:
        """Return the history one change back or forward, and what ``job.toml`` says there.

        Raises
        ------
        JobError
            When there is no change to take back, or none to make again.
        """
        history = self.met(text)
        to = history.standing + (-1 if back else 1)
        there = history._text(to) if 0 <= to <= len(history.edits) else None
        if there is None and back:
            raise JobError(
                "There is no change to take back.",
                "Changes are remembered from the first one that fitkit made in this job.",
            )
        if there is None:
            raise JobError(
                "There is no change to make again.",
                "That goes for what was just taken back, until something else is changed.",
            )
        return replace(history, standing=to), there

    def keep(self) -> None:
        """Write down which changes there are; texts that none of them left go. Hold the lock.

        Raises
        ------
        FileError
            When the disk does not take it.
        """
        self.folder.mkdir(parents=True, exist_ok=True)
        for number, text in self.unkept.items():
            write_whole(self._path(number), text.encode())
        told = {"standing": self.standing, "edits": list(self.edits)}
        content = json.dumps(told, ensure_ascii=False, indent=1).encode()
        write_whole(self.folder / "edits.json", content)
        for number in count(len(self.edits) + 1):
            try:
                self._path(number).unlink()
            except OSError:
                break

    def _followed_by(self, text: str, words: str) -> EditHistory:
        edits = (*self.edits[: self.standing], words)
        unkept = {**self.unkept, len(edits): text}
        return EditHistory(self.folder, edits, len(edits), unkept)

    def _text(self, number: int) -> str | None:
        if number in self.unkept:
            return self.unkept[number]
        try:
            return self._path(number).read_text(encoding="utf-8")
        except (OSError, ValueError):
            return None

    def _path(self, number: int) -> Path:
        return self.folder / f"{number:06d}.toml"
