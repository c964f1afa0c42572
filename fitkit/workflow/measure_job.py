"""The body's tape measures beside the wearer's tape list."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fitkit.errors import JobError

if TYPE_CHECKING:
    from fitkit.body.body import Body
    from fitkit.body.tape_reading import TapeMeasure
    from fitkit.job.job_folder import Job

__all__ = ["JobMeasures", "MeasureRow", "kept_measures", "measure_job", "measures_of"]


@dataclass(frozen=True, slots=True)
class MeasureRow:
    """One measure: on the body, on the wearer, or both; lengths in millimetres.

    ``limit_mm`` is what scan and tape may differ by for its kind (ISO 20685-1); ``where`` says
    how it was taken on the body.
    """

    name: str
    body_mm: float | None
    tape_mm: float | None
    kind: str = ""
    limit_mm: float | None = None
    where: str = ""

    @property
    def difference_mm(self) -> float | None:
        """Body less tape list; None where one of them is missing."""
        if self.body_mm is None or self.tape_mm is None:
            return None
        return self.body_mm - self.tape_mm

    @property
    def verdict(self) -> str:
        """``"within"`` or ``"over"`` the limit; empty where there is nothing to compare."""
        if self.difference_mm is None or self.limit_mm is None:
            return ""
        return "within" if abs(self.difference_mm) <= self.limit_mm else "over"

    def as_dict(self) -> dict[str, Any]:
        """Return the row as plain values."""
        return {
            **asdict(self),
            "difference_mm": self.difference_mm,
            "verdict": self.verdict,
        }


@dataclass(frozen=True, slots=True)
class JobMeasures:
    """Every measure, the landmarks, and the files written.

    ``landmarks`` are ``name: (x, y, z)`` in millimetres, ``confidence`` 0 to 1 by name.
    """

    rows: tuple[MeasureRow, ...]
    landmarks: dict[str, tuple[float, float, float]]
    confidence: dict[str, float] = field(default_factory=dict)
    files: tuple[Path, ...] = ()

    def as_dict(self) -> dict[str, Any]:
        """Return the measures as plain values for JSON."""
        return {
            "measures": [row.as_dict() for row in self.rows],
            "landmarks": {name: list(at) for name, at in self.landmarks.items()},
            "confidence": dict(self.confidence),
        }


def measure_job(folder: Path | str) -> JobMeasures:
    """Take the tape measures on the job's body; leave them and a picture beside it.

    They are taken again where the body, or what is to be taken on it, is another once they are
    to be kept.

    Raises
    ------
    JobError
        When the body has not been made.
    DesignError
        When a girth of the maker's own cannot be taken.
    """
    from fitkit.job.job_folder import held_job, open_job
    from fitkit.job.made_from import MadeFrom
    from fitkit.job.whole_writes import write_whole

    while True:
        job = open_job(folder)
        shaped_in = job.result_folder("body")
        record = MadeFrom.read(shaped_in)
        if record is None:
            raise JobError(
                "There is no body to measure yet.", f"Make it with: fitkit make {job.called}"
            )
        measures, files = _laid(job)
        with held_job(folder, "measure") as now:
            if MadeFrom.read(shaped_in) != record or now.settings.girth != job.settings.girth:
                continue
            for name, content in files.items():
                write_whole(shaped_in / name, content)
            return replace(measures, files=tuple(shaped_in / name for name in files))


def _laid(job: Job) -> tuple[JobMeasures, dict[str, bytes]]:
    """Return the measures on the body there is, and the files that tell them."""
    from fitkit.export.tapes_picture import png_of_tapes
    from fitkit.job.body_files import read_body
    from fitkit.job.measures_files import measures_files

    shaped = read_body(job.result_folder("body"))
    taken = _taken(job, shaped)
    marks = {
        mark.name: (float(mark.at_mm[0]), float(mark.at_mm[1]), float(mark.at_mm[2]))
        for mark in shaped.landmarks.values()
    }
    sure = {mark.name: mark.confidence for mark in shaped.landmarks.values()}
    measures = JobMeasures(_rows(taken, dict(job.settings.wearer.tape)), marks, sure)
    files = {**measures_files(measures.as_dict()), "tapes.png": png_of_tapes(shaped.mesh, taken)}
    return measures, files


def kept_measures(folder: Path | str) -> JobMeasures | None:
    """Return what the tape read last on the body there is, beside the tape list as it is now.

    None when it was not laid round this body yet.

    Raises
    ------
    JobError
        When the folder is not a job, or the file is damaged.
    """
    from fitkit.job.job_folder import open_job
    from fitkit.job.measures_files import read_measures

    job = open_job(folder)
    values = read_measures(job.result_folder("body"))
    if values is None:
        return None
    bare = [
        MeasureRow(row["name"], row["body_mm"], None, row["kind"], row["limit_mm"], row["where"])
        for row in values["measures"]
        if row["body_mm"] is not None
    ]
    marks = {name: (at[0], at[1], at[2]) for name, at in values["landmarks"].items()}
    rows = _beside_tape(bare, dict(job.settings.wearer.tape))
    return JobMeasures(rows, marks, dict(values["confidence"]))


def measures_of(job: Job, body: Body) -> tuple[MeasureRow, ...]:
    """Return the body's tape measures beside the job's tape list; writes nothing."""
    return _rows(_taken(job, body), dict(job.settings.wearer.tape))


def _taken(job: Job, body: Body) -> tuple[TapeMeasure, ...]:
    from fitkit.body.tape_measure import tape_measures
    from fitkit.job.designs import named_girths

    return tape_measures(body, named_girths(job.settings))


def _rows(taken: tuple[TapeMeasure, ...], tape: dict[str, float]) -> tuple[MeasureRow, ...]:
    from fitkit.body.scan_limits import scan_limit_mm

    bare = [
        MeasureRow(
            measure.name,
            float(measure.length_mm),
            None,
            measure.kind,
            scan_limit_mm(measure),
            measure.where,
        )
        for measure in taken
    ]
    return _beside_tape(bare, tape)


def _beside_tape(taken: Sequence[MeasureRow], tape: dict[str, float]) -> tuple[MeasureRow, ...]:
    """Set each measure beside the line of the tape list of its name, sides apart if need be.

    A tape list that says "thigh" is held against both thighs.
    """
    own = {" ".join(name.lower().split()): name for name in tape}
    matched = set()
    rows = []
    for measure in taken:
        name = measure.name.lower()
        spoken = [name, name.removeprefix("left "), name.removeprefix("right ")]
        mine = next((own[words] for words in spoken if words in own), None)
        matched.add(mine)
        rows.append(replace(measure, tape_mm=None if mine is None else tape[mine]))
    return (
        *rows,
        *(MeasureRow(name, None, tape[name]) for name in own.values() if name not in matched),
    )
