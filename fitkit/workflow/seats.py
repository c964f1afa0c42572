"""What is fastened to the plates of a job: straps' ends, pivots and lames, on each blank."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fitkit.findings import THIS_JOB, Finding, Severity

if TYPE_CHECKING:
    from fitkit.flatten.flat_patch import FlatPatch
    from fitkit.holding.seat import FlatSeat, Seat
    from fitkit.job.job_folder import Job
    from fitkit.job.made_from import FileDigests
    from fitkit.workflow.job_plates import JobPlates

__all__ = ["SeatsOn", "moving_seats", "seats_on"]


@dataclass(frozen=True, slots=True, eq=False)
class SeatsOn:
    """What is drilled and marked on a blank: on the part as drawn, and on its twin."""

    drawn: tuple[FlatSeat, ...] = ()
    twin: tuple[FlatSeat, ...] = ()


def seats_on(flat: FlatPatch, seats: Sequence[Seat]) -> SeatsOn:
    """Return those of a job's fastenings that sit on a blank, laid on it."""
    from fitkit.holding.seat import laid_seat

    own = [seat for seat in seats if seat.patch == flat.design.name]
    return SeatsOn(
        tuple(laid_seat(flat, seat) for seat in own if not seat.twin),
        tuple(laid_seat(flat, seat) for seat in own if seat.twin),
    )


def moving_seats(
    job: Job, plates: JobPlates, digests: FileDigests
) -> tuple[tuple[Seat, ...], tuple[Finding, ...]]:
    """Return the holes of pivots and lames where the motion has been swept.

    Where it has not, or not since something changed, a finding says that they are missing.
    """
    if not job.settings.pivot and not job.settings.lames:
        return (), ()
    if job.state("motion", digests).state != "fresh":
        names = [row.patch for row in job.settings.pivot]
        names += [row.name for row in job.settings.lames]
        missing = Finding(
            "moving-holes-missing",
            Severity.WARNING,
            names[0],
            f"The holes by which {' and '.join(names)} move are not on the templates: the joints "
            "have not been swept since the job changed.",
            f"Run: fitkit motion {THIS_JOB}, then: fitkit make {THIS_JOB}.",
        )
        return (), (missing,)
    from fitkit.job.motion_files import read_lames, read_pivots
    from fitkit.motion.moving_seats import lame_seats, pivot_seats

    sheets = plates.all_sheets()
    folder = job.result_folder("motion")
    screws = {row.patch: row.screw_metal for row in job.settings.pivot}
    row_of = {name: row for row in job.settings.lames for name in row.of}
    seats = [
        seat
        for pivot in read_pivots(folder)
        for seat in pivot_seats(pivot, sheets, screws[pivot.patch])
    ]
    for one in read_lames(folder):
        row = row_of[one.upper]
        seats += lame_seats(one, sheets, row.hole_mm, row.rivet_metal)
    return tuple(seats), ()
