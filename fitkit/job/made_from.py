"""What each result was made from, and whether that still holds.

Every result folder carries a record, ``made_from.json``: the digest of each thing the
step took in (settings, photos, the results before it), the size and digest of each file it
made, and its findings. The record moves with the result in one rename, so the two cannot
disagree. A step is stale when anything it took in differs from the record.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

from fitkit.errors import FileError
from fitkit.findings import Finding
from fitkit.job.folder_called import with_folder_called
from fitkit.job.plain_json import json_bytes

__all__ = ["RECORD", "FileDigests", "MadeFrom", "StepState", "digest_of_value", "state_of_step"]

RECORD = "made_from.json"
"""Name of the record in each result folder."""

_RECORD_FORMAT = 1


def digest_of_value(value: Any) -> str:
    """Return the digest of plain values, whatever the order of their names."""
    text = json.dumps(value, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()


class FileDigests:
    """Digests of files, remembered by size and time of change so that each is read once.

    Parameters
    ----------
    root
        The job folder; files are remembered by their path in it.
    """

    def __init__(self, root: Path) -> None:
        self._root = root
        self._path = root / ".fitkit" / "digests.json"
        self._known: dict[str, list[Any]] = {}
        try:
            known = json.loads(self._path.read_text(encoding="utf-8"))
            if isinstance(known, dict):
                self._known = known
        except (OSError, ValueError):
            pass

    def digest(self, path: Path, *, known_as: Path | None = None) -> str:
        """Return a file's SHA-256; ``known_as`` is the path it will have later."""
        try:
            stat = path.stat()
            key = (known_as or path).as_posix().removeprefix(f"{self._root.as_posix()}/")
            entry = self._known.get(key)
            if entry and entry[0] == stat.st_size and entry[1] == stat.st_mtime_ns:
                return str(entry[2])
            with open(path, "rb") as file:
                digest = hashlib.file_digest(file, "sha256").hexdigest()
        except OSError as error:
            raise FileError(
                f"'{path}' cannot be read: {error.strerror or error}.",
                "Check that the file is there and that you may read it.",
            ) from error
        self._known[key] = [stat.st_size, stat.st_mtime_ns, digest]
        return digest

    def as_bytes(self) -> bytes:
        """Return what is known, for keeping; files that are gone are dropped."""
        kept = {name: row for name, row in self._known.items() if (self._root / name).exists()}
        return (json.dumps(kept, indent=0, sort_keys=True) + "\n").encode()

    @property
    def path(self) -> Path:
        """Where :meth:`as_bytes` is kept."""
        return self._path


@dataclass(frozen=True, slots=True)
class MadeFrom:
    """The record of one result.

    Attributes
    ----------
    step
        Name of the step.
    inputs
        Digest by what was taken in, in words: ``"settings"``, ``"photos/IMG_1.jpg"``, ``"body"``.
    files
        ``[size, digest]`` by file name in the result folder.
    findings
        What the step noticed.
    seconds
        How long it took.
    pieces
        For a step that works piece by piece: digest of what each piece was made from, by name,
        so that the pieces which did not change can be taken over.
    """

    step: str
    inputs: Mapping[str, str]
    files: Mapping[str, tuple[int, str]]
    findings: tuple[Finding, ...] = ()
    seconds: float = 0.0
    pieces: Mapping[str, str] = field(default_factory=dict)

    def result_digest(self) -> str:
        """Return one digest of everything a later step reads.

        Pictures, and the forms kept with the patches, are there to be looked at only.
        """
        return digest_of_value(
            {
                name: row[1]
                for name, row in self.files.items()
                if not name.endswith(".png") and not name.startswith("form-")
            }
        )

    def as_bytes(self) -> bytes:
        """Return the record as JSON."""
        values = {
            "format": _RECORD_FORMAT,
            "step": self.step,
            "seconds": round(self.seconds, 2),
            "inputs": dict(self.inputs),
            "pieces": dict(self.pieces),
            "files": {name: list(row) for name, row in self.files.items()},
            "findings": [finding.as_dict() for finding in self.findings],
        }
        return json_bytes(values, indent=1)

    @classmethod
    def read(cls, folder: Path) -> MadeFrom | None:
        """Return the record of a result folder, its findings as they are told now.

        None when there is none to go by.
        """
        try:
            values = json.loads((folder / RECORD).read_text(encoding="utf-8"))
            if values["format"] != _RECORD_FORMAT:
                return None
            return cls(
                step=str(values["step"]),
                inputs=dict(values["inputs"]),
                files={name: (int(a), str(b)) for name, (a, b) in values["files"].items()},
                findings=with_folder_called(
                    (Finding.from_dict(item) for item in values["findings"]),
                    folder.resolve().parent,
                ),
                seconds=float(values["seconds"]),
                pieces=dict(values.get("pieces", {})),
            )
        except (OSError, ValueError, KeyError, TypeError):
            return None


@dataclass(frozen=True, slots=True)
class StepState:
    """Whether a result can be used as it is.

    Attributes
    ----------
    state
        ``fresh``; ``missing``: never made; ``stale``: made from something else; ``changed``:
        its files were deleted or edited since.
    reasons
        Why it is not fresh, in words.
    record
        The record, where there is one.
    edited
        Files of the result that were edited by hand.
    """

    step: str
    state: Literal["fresh", "missing", "stale", "changed"]
    reasons: tuple[str, ...] = ()
    record: MadeFrom | None = None
    edited: tuple[str, ...] = field(default=())


def state_of_step(
    step: str, folder: Path, inputs: Mapping[str, str], digests: FileDigests
) -> StepState:
    """Compare a result folder with what its step would take in now."""
    record = MadeFrom.read(folder)
    if record is None:
        return StepState(step, "missing", ("not made yet",))
    gone, edited = [], []
    for name, (size, digest) in record.files.items():
        path = folder / name
        if not path.is_file():
            gone.append(name)
        elif path.stat().st_size != size or digests.digest(path) != digest:
            edited.append(name)
    reasons = _differences(record.inputs, inputs)
    if reasons:
        return StepState(step, "stale", reasons, record, tuple(edited))
    if gone or edited:
        words = [f"{name} was deleted" for name in gone]
        words += [f"{name} was changed by hand" for name in edited]
        return StepState(step, "changed", tuple(words), record, tuple(edited))
    return StepState(step, "fresh", (), record)


def _differences(before: Mapping[str, str], now: Mapping[str, str]) -> tuple[str, ...]:
    words = [f"{name} is new" for name in now if name not in before]
    words += [f"{name} is gone" for name in before if name not in now]
    words += [f"{name} changed" for name in now if name in before and before[name] != now[name]]
    return tuple(words)
