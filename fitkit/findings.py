"""Findings: what a step noticed about its own result.

A finding never stops a step by itself; front ends show all of them, and a standing
finding of severity ``stop`` makes the command line exit with 3.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from enum import StrEnum
from typing import Any

__all__ = ["THIS_JOB", "Finding", "Severity"]

THIS_JOB = "⟨this job⟩"
"""Stands for the job's folder in a remedy's command until it is told: folders are moved."""


class Severity(StrEnum):
    """How much a finding matters to the maker."""

    NOTE = "note"
    """Good to know; nothing to do."""
    WARNING = "warning"
    """Look at it before cutting."""
    STOP = "stop"
    """Do not cut from this result."""


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing a step noticed.

    Attributes
    ----------
    code
        Short stable name such as ``"photo-blurred"``.
    severity
        See :class:`Severity`.
    where
        The photo, sheet, line, patch or template it is about.
    message
        One sentence with the numbers in it.
    remedy
        What the maker can do, with :data:`THIS_JOB` in commands; empty for a note.
    number, limit, unit
        The measured value and the limit it was held against, where there is one.
    """

    code: str
    severity: Severity
    where: str
    message: str
    remedy: str = ""
    number: float | None = None
    limit: float | None = None
    unit: str = ""

    def as_dict(self) -> dict[str, Any]:
        """Return the finding as plain values for JSON."""
        return {**asdict(self), "severity": self.severity.value}

    @classmethod
    def from_dict(cls, values: dict[str, Any]) -> Finding:
        """Return the finding that :meth:`as_dict` wrote."""
        return cls(**{**values, "severity": Severity(values["severity"])})
