"""The body's tape measures beside the wearer's tape list."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from fitkit.errors import JobError

__all__ = ["JobMeasures", "MeasureRow", "measure_job"]


@dataclass(frozen=True, slots=True)
class MeasureRow:
    """One measure: on the body, on the wearer, or both; lengths in millimetres."""

    name: str
    body_mm: float | None
    tape_mm: float | None

    @property
    def difference_mm(self) -> float | None:
        """Body less tape list; None where one of them is missing."""
        if self.body_mm is None or self.tape_mm is None:
            return None
        return self.body_mm - self.tape_mm


@dataclass(frozen=True, slots=True)
class JobMeasures:
    """Every measure, and the landmarks as ``name: (x, y, z)`` in millimetres."""

    rows: tuple[MeasureRow, ...]
    landmarks: dict[str, tuple[float, float, float]]

    def as_dict(self) -> dict[str, Any]:
        """Return the measures as plain values for JSON."""
        return {
            "measures": [{**asdict(row), "difference_mm": row.difference_mm} for row in self.rows],
            "landmarks": {name: list(at) for name, at in self.landmarks.items()},
        }


def measure_job(folder: Path | str) -> JobMeasures:
    """Take the tape measures on the job's body.

    Raises
    ------
    JobError
        When the body has not been made.
    """
    from fitkit.job.job_folder import open_job
    from fitkit.job.made_from import MadeFrom

    job = open_job(folder)
    shaped_in = job.result_folder("body")
    if MadeFrom.read(shaped_in) is None:
        raise JobError(
            "There is no body to measure yet.", f"Make it with: fitkit make {job.called}"
        )
    from fitkit.body.tape_measure import tape_measures
    from fitkit.job.body_files import read_body

    shaped = read_body(shaped_in)
    tape = dict(job.settings.wearer.tape)
    wanted = {name.strip().lower(): name for name in tape}
    rows = []
    for measure in tape_measures(shaped):
        own = wanted.pop(measure.name.strip().lower(), None)
        rows.append(MeasureRow(measure.name, float(measure.length_mm), tape[own] if own else None))
    rows += [MeasureRow(name, None, tape[name]) for name in wanted.values()]
    marks = {
        mark.name: (float(mark.at_mm[0]), float(mark.at_mm[1]), float(mark.at_mm[2]))
        for mark in shaped.landmarks.values()
    }
    return JobMeasures(tuple(rows), marks)
