"""What a step tells the front door: whether it ran, what it noticed, what it left behind."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeAlias

from fitkit.findings import Finding, Severity

__all__ = ["Progress", "StepReport", "part_of", "stands"]

Progress: TypeAlias = Callable[[float, str], None]
"""Called with how much is done, 0 to 1, and what is being done, in words."""


@dataclass(frozen=True, slots=True)
class StepReport:
    """One step's report.

    Attributes
    ----------
    step
        Its name.
    ran
        True when it was made now, False when the last result still holds.
    words
        One line on what came out or why it ran.
    findings
        What it noticed, also when that was on an earlier run.
    seconds
        How long it took, now or when it ran last.
    files
        What it left in the job, pictures included.
    facts
        Plain values for a program to read.
    """

    step: str
    ran: bool
    words: str = ""
    findings: tuple[Finding, ...] = ()
    seconds: float = 0.0
    files: tuple[Path, ...] = ()
    facts: Mapping[str, Any] = field(default_factory=dict)

    def as_dict(self) -> dict[str, Any]:
        """Return the report as plain values for JSON."""
        return {
            "step": self.step,
            "ran": self.ran,
            "words": self.words,
            "seconds": round(self.seconds, 2),
            "findings": [finding.as_dict() for finding in self.findings],
            "files": [str(path) for path in self.files],
            **({"facts": dict(self.facts)} if self.facts else {}),
        }


def part_of(progress: Progress | None, start: float, end: float) -> Progress | None:
    """Return a progress for a part of the work that runs from ``start`` to ``end`` of the whole."""
    if progress is None:
        return None

    def partly(fraction: float, words: str) -> None:
        progress(start + (end - start) * min(max(fraction, 0.0), 1.0), words)

    return partly


def stands(findings: Iterable[Finding]) -> bool:
    """Tell whether a finding says not to cut from the result."""
    return any(finding.severity is Severity.STOP for finding in findings)
