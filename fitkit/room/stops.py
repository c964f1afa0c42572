"""The stops of the maker's course, from photos to paper, and how each stands."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from fitkit.findings import Finding, Severity

if TYPE_CHECKING:
    from fitkit.room.session import RoomSession

__all__ = [
    "STOPS",
    "Stop",
    "StopState",
    "job_findings",
    "next_stop",
    "state_of_stop",
    "stop_named",
]


@dataclass(frozen=True, slots=True)
class Stop:
    """One stop.

    Attributes
    ----------
    name
        In the address: ``/photos``.
    title
        As the maker reads it.
    steps
        Steps of the job whose results it shows.
    act, doing
        What its button says, and what is then being done.
    module
        Module with ``build(page)``, which fills the page, and where it needs routes of its own
        ``add_routes(app, session)``.
    """

    name: str
    title: str
    steps: tuple[str, ...]
    act: str
    doing: str
    module: str


STOPS = (
    Stop("photos", "Photos", ("scan",), "Make the scan", "Scanning", "fitkit.room.photos_stop"),
    Stop("body", "Body", ("body",), "Make the body", "Making the body", "fitkit.room.body_stop"),
    Stop(
        "lines",
        "Lines and patches",
        ("patches",),
        "Cut the patches",
        "Cutting the patches",
        "fitkit.room.lines_stop",
    ),
    Stop(
        "motion",
        "Motion",
        ("motion",),
        "Move the joints",
        "Moving the joints",
        "fitkit.room.motion_stop",
    ),
    Stop("flat", "Flat", ("blanks",), "Lay flat", "Laying flat", "fitkit.room.flat_stop"),
    Stop(
        "sheets",
        "Sheets",
        ("sheets",),
        "Lay out on the sheets",
        "Laying out on the sheets",
        "fitkit.room.sheets_stop",
    ),
    Stop(
        "paper",
        "Paper and shop",
        ("templates", "pages"),
        "Draw the pages",
        "Drawing the pages",
        "fitkit.room.paper_stop",
    ),
)
"""In the order of the work."""


@dataclass(frozen=True, slots=True)
class StopState:
    """How a stop stands.

    Attributes
    ----------
    state
        ``done``; ``to do``; ``stale``: made from something that has changed since; ``wrong``: a
        finding says not to go on; ``offered``: made only for whoever asks for it; ``not needed``:
        the job has no use for it.
    reasons
        Why it is stale, in words.
    findings
        What its steps noticed.
    """

    state: Literal["done", "to do", "stale", "wrong", "offered", "not needed"]
    reasons: tuple[str, ...] = ()
    findings: tuple[Finding, ...] = ()


def stop_named(name: str) -> Stop:
    """Return the stop of that name."""
    return next(stop for stop in STOPS if stop.name == name)


def job_findings(session: RoomSession) -> tuple[Finding, ...]:
    """Return what is wrong with ``job.toml`` itself, which stands in the way of every stop."""
    return tuple(finding for finding in session.check().findings if finding.code == "job-toml")


def next_stop(session: RoomSession) -> Stop:
    """Return the first stop of the open job where something is to be done; the last one else."""
    finished = {"done", "offered", "not needed"}
    waiting = (stop for stop in STOPS if state_of_stop(stop, session).state not in finished)
    return next(waiting, STOPS[-1])


def state_of_stop(stop: Stop, session: RoomSession) -> StopState:
    """Return how a stop of the open job stands."""
    check = session.check()
    states = [state for state in check.states if state.step in stop.steps]
    if not check.states:
        return StopState("wrong")
    if not states:
        # Only photos are of no use where the body comes from elsewhere.
        return StopState("not needed" if "scan" in stop.steps else "offered")
    findings = tuple(
        finding for state in states if state.record for finding in state.record.findings
    )
    reasons = tuple(reason for state in states for reason in state.reasons)
    if all(state.state == "missing" for state in states):
        return StopState("to do")
    if any(state.state != "fresh" for state in states):
        return StopState("stale", reasons, findings)
    if any(finding.severity is Severity.STOP for finding in findings):
        return StopState("wrong", (), findings)
    return StopState("done", (), findings)
