"""Holding the finished body to what a tape says round it: an independent word on the scale."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from fitkit.body.scan_limits import scan_limit_mm
from fitkit.body.tape_reading import TapeMeasure
from fitkit.capture.check_length import BodyCheck
from fitkit.findings import Finding, Severity

__all__ = ["body_check_findings"]

# Half a percent is 5 mm in a chest of a metre: plates made to a larger error do not fit.
_LIMIT = 0.005
# How far two readings of one careful hand lie apart on a part that gives and breathes, by
# the kind of measure: half of what ISO 20685-1 allows scan and tape (common practice, no
# source).
_REPEATS = 0.5


def body_check_findings(
    measures: Sequence[TapeMeasure], checks: Sequence[BodyCheck], tape_list: Mapping[str, float]
) -> tuple[Finding, ...]:
    """Return what measures of the body by tape say of the scan.

    A measure agrees within half a percent and the tape's own repeatability. One that does
    not is a stop, for everything cut from the body would be off by as much.

    Parameters
    ----------
    measures
        Those of the body as scanned, before any reshaping.
    checks
        What was measured; a name without a side goes for both sides.
    tape_list
        The wearer's, mm by name, for checks without a length of their own.
    """
    lengths_mm = {" ".join(name.lower().split()): value for name, value in tape_list.items()}
    findings = []
    for check in checks:
        length_mm = lengths_mm.get(check.measure) if check.length_mm is None else check.length_mm
        taken = [
            one
            for one in measures
            if check.measure in {one.name.lower(), one.name.lower().removeprefix("left ")}
            or check.measure == one.name.lower().removeprefix("right ")
        ]
        if length_mm is None:
            findings.append(_no_length(check, sorted(lengths_mm)))
        elif not taken:
            findings.append(_not_on_body(check, [one.name for one in measures]))
        else:
            findings += [_compared(one, length_mm) for one in taken]
    return tuple(findings)


def _compared(measure: TapeMeasure, tape_mm: float) -> Finding:
    repeats_mm = _REPEATS * scan_limit_mm(measure)
    limit = _LIMIT + repeats_mm / tape_mm
    off = measure.length_mm / tape_mm - 1.0
    agrees = abs(off) <= limit
    beside = (
        f"{measure.name[:1].upper()}{measure.name[1:]} ({measure.where}): {measure.length_mm:.1f} "
        f"mm on the body and {tape_mm:.1f} mm by the tape, {100 * off:+.2f} %"
    )
    allowed = (
        f"half a percent and the {repeats_mm:.1f} mm by which a tape repeats, together "
        f"{100 * limit:.2f} %"
    )
    return Finding(
        "body-check-agrees" if agrees else "body-check-differs",
        Severity.NOTE if agrees else Severity.STOP,
        f"check {measure.name}",
        f"{beside}; that is within {allowed}."
        if agrees
        else f"{beside}; allowed are {allowed}. Everything cut from this would be off by as much.",
        ""
        if agrees
        else f"Take the {measure.name} again, twice, at that very level, taut but not pressing in. "
        "If the tape stands, measure both check lines of a printed sheet with a steel rule "
        "(--printed-mm) and lay a tape between two sheets (--check 1-5=1.84m).",
        number=round(100 * abs(off), 3),
        limit=round(100 * limit, 3),
        unit="%",
    )


def _no_length(check: BodyCheck, known: Sequence[str]) -> Finding:
    has = f"it has {', '.join(known)}" if known else "it is empty"
    return Finding(
        "body-check-no-length",
        Severity.WARNING,
        f"check {check.measure}",
        f"The check '{check.measure}' has no length, and the tape list has none for it: {has}.",
        f'Say what the tape says, as "{check.measure}=91.2 cm".',
    )


def _not_on_body(check: BodyCheck, known: Sequence[str]) -> Finding:
    return Finding(
        "body-check-not-found",
        Severity.WARNING,
        f"check {check.measure}",
        f"The body has no measure '{check.measure}' to hold the check against.",
        f"Choose one of: {', '.join(known)}." if known else "Check a distance between two sheets.",
    )
