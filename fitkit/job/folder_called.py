"""What a job's folder is called, and findings with that name in their commands.

A finding is kept with the result it is about, and the folder may be moved or the next command be
typed elsewhere: it is kept with :data:`fitkit.findings.THIS_JOB` and given the name when told.
"""

from __future__ import annotations

import shlex
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

from fitkit.findings import THIS_JOB, Finding

__all__ = ["folder_called", "with_folder_called"]


def folder_called(folder: Path) -> str:
    """Return a job's folder as one would type it after a command in the current folder."""
    here = Path.cwd()
    inside = folder.is_relative_to(here) and folder != here
    return shlex.quote(str(folder.relative_to(here) if inside else folder))


def with_folder_called(findings: Iterable[Finding], folder: Path) -> tuple[Finding, ...]:
    """Return findings as they are told, the job's folder in their remedies called as now."""
    return tuple(
        replace(one, remedy=one.remedy.replace(THIS_JOB, folder_called(folder)))
        if THIS_JOB in one.remedy
        else one
        for one in findings
    )
