"""Holding a solved scene to lengths laid by tape: stop where they differ, gain where they agree."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from fitkit.capture.camera import Camera
from fitkit.capture.check_length import CheckedLength, CheckLength
from fitkit.capture.scan import SolvedCameras, SolvedSheet
from fitkit.errors import InputError
from fitkit.findings import Finding, Severity
from fitkit.geometry.rigid import RigidTransform

__all__ = ["hold_to_checks"]

# Half a percent is 5 mm in a chest of a metre: plates made to a larger error do not fit.
_LIMIT = 0.005
# A check says something about half a percent only when it is itself known twice as well.
_MOST_SIGMA = 0.0025
# Both ends of a tape held to the middle of a tag by eye (common practice, no source).
_LAYING_SIGMA_MM = 1.5
_SETTLED_BY_CHECK = {"print-not-measured", "tag-side-uncertain"}


def hold_to_checks(solved: SolvedCameras, checks: Sequence[CheckLength]) -> SolvedCameras:
    """Compare a solved scene with check lengths.

    Where every check agrees within 0.5 %, the scene takes the scale that sheets and tape
    give together, each weighted by its uncertainty, and the scale is the surer for it.
    Where one does not, the scene stays as it was and a finding of severity stop says what
    to measure.

    Raises
    ------
    InputError
        When a check's sheet may be one of several papers.

    References
    ----------
    OIML R 35-1:2007, *Material measures of length for general use*, maximum permissible
    error of accuracy class II: 0.3 mm + 0.2 mm per metre.
    """
    if not checks:
        return solved
    checked: list[CheckedLength] = []
    findings: list[Finding] = []
    for check in checks:
        ends = [_sheet_called(name, solved.sheets) for name in (check.first, check.second)]
        lost = [
            name for name, end in zip((check.first, check.second), ends, strict=True) if end is None
        ]
        if lost:
            findings.append(_not_seen(check, lost))
            continue
        a, b = (end.world_from_sheet.translation_mm for end in ends if end is not None)
        solved_mm = float(np.linalg.norm(a - b))
        sigma = math.hypot(_LAYING_SIGMA_MM, _tape_sigma_mm(check.length_mm)) / check.length_mm
        off = solved_mm / check.length_mm - 1.0
        # A short check is not known to the limit; it must then be off beyond its own doubt.
        limit = _LIMIT if sigma <= _MOST_SIGMA else max(_LIMIT, 3 * sigma)
        checked.append(CheckedLength(check, solved_mm, sigma, abs(off) <= limit))
    if not all(one.agrees for one in checked):
        unmeasured = any(finding.code in _SETTLED_BY_CHECK for finding in solved.findings)
        findings += [_differs(one, unmeasured=unmeasured) for one in checked if not one.agrees]
        worst = max(abs(one.off) for one in checked)
        return replace(
            solved,
            scale_sigma=max(solved.scale_sigma, worst),
            checks=tuple(checked),
            findings=(*solved.findings, *findings),
        )
    findings += [_short(one) for one in checked if one.sigma > _MOST_SIGMA]
    vouching = [one for one in checked if one.sigma <= _MOST_SIGMA]
    kept = solved.findings
    if vouching:
        # Another end is read each time; the tape's own error stays the same.
        weights = [(one.check.length_mm / _LAYING_SIGMA_MM) ** 2 for one in vouching]
        log_scale = -sum(w * math.log1p(one.off) for w, one in zip(weights, vouching, strict=True))
        log_scale /= sum(weights)
        tape = max(_tape_sigma_mm(o.check.length_mm) / o.check.length_mm for o in vouching)
        variance = 1.0 / sum(weights) + tape**2
        before = max(solved.scale_sigma, 1e-6) ** 2
        part = before / (before + variance)
        solved = _scaled(solved, math.exp(part * log_scale))
        solved = replace(
            solved,
            scale_sigma=math.sqrt(part * variance),
            scale_doubts=(*solved.scale_doubts, ("tape between sheets", math.sqrt(variance))),
        )
        kept = tuple(f for f in kept if f.code not in _SETTLED_BY_CHECK)
        findings.append(_agree(vouching, part * log_scale, solved.scale_sigma))
    return replace(solved, checks=tuple(checked), findings=(*kept, *findings))


def _tape_sigma_mm(length_mm: float) -> float:
    """Return one deviation of a class II tape, its limits taken for an even spread."""
    return (0.3 + 0.2 * length_mm / 1000.0) / math.sqrt(3.0)


def _sheet_called(name: str, sheets: Sequence[SolvedSheet]) -> SolvedSheet | None:
    found = []
    for solved in sheets:
        sheet = solved.sheet()
        if sheet is not None and sheet.goes_by(name):
            found.append((sheet.called, solved))
    if len(found) > 1:
        names = " and ".join(words for words, _ in found)
        raise InputError(
            f"The photos show more than one sheet {name}: {names}.",
            f"Name the paper in the check length, as 'A4 {name}'.",
        )
    return found[0][1] if found else None


def _scaled(solved: SolvedCameras, scale: float) -> SolvedCameras:
    def moved(pose: RigidTransform) -> RigidTransform:
        return RigidTransform(pose.rotation, scale * pose.translation_mm)

    return replace(
        solved,
        cameras=tuple(
            Camera(camera.photo, camera.lens, moved(camera.camera_from_world))
            for camera in solved.cameras
        ),
        sheets=tuple(
            replace(sheet, world_from_sheet=moved(sheet.world_from_sheet))
            for sheet in solved.sheets
        ),
    )


def _where(check: CheckLength) -> str:
    return f"check {check.between}"


def _differs(one: CheckedLength, *, unmeasured: bool) -> Finding:
    first, second = one.check.first, one.check.second
    rule = "Measure both check lines of a printed sheet with a steel rule and give their lengths"
    return Finding(
        "check-differs",
        Severity.STOP,
        _where(one.check),
        f"Sheets {first} and {second} are {one.solved_mm:.1f} mm apart in the scan and "
        f"{one.check.length_mm:.1f} mm by the tape, which is {100 * one.off:+.2f} %; everything "
        "cut from this would be off by as much.",
        f"{rule}{' (--printed-mm)' if unmeasured else ' anew'}, then lay the tape again, taut and "
        f"straight, from the middle of the tag on sheet {first} to the middle of the one on "
        f"sheet {second}, with no sheet moved since the photos.",
        number=round(100 * abs(one.off), 3),
        limit=100 * _LIMIT,
        unit="%",
    )


def _agree(vouching: Sequence[CheckedLength], log_scale: float, sigma: float) -> Finding:
    rows = ", ".join(f"{one.check.between} {100 * one.off:+.2f} %" for one in vouching)
    return Finding(
        "check-agrees",
        Severity.NOTE,
        _where(vouching[0].check) if len(vouching) == 1 else "check lengths",
        f"Scan against tape: {rows}. The scan was scaled by {100 * math.expm1(log_scale):+.3f} % "
        f"to what sheets and tape give together, known to {100 * sigma:.2f} %.",
        number=round(100 * max(abs(one.off) for one in vouching), 3),
        limit=100 * _LIMIT,
        unit="%",
    )


def _short(one: CheckedLength) -> Finding:
    least_mm = _LAYING_SIGMA_MM / _MOST_SIGMA * 1.05
    return Finding(
        "check-too-short",
        Severity.WARNING,
        _where(one.check),
        f"The check length of {one.check.length_mm:.0f} mm can be laid to "
        f"{100 * one.sigma:.2f} % only; it cannot vouch for the scale.",
        f"Lay the tape between sheets at least {least_mm:.0f} mm apart.",
        number=round(100 * one.sigma, 3),
        limit=100 * _MOST_SIGMA,
        unit="%",
    )


def _not_seen(check: CheckLength, lost: Sequence[str]) -> Finding:
    return Finding(
        "check-not-seen",
        Severity.WARNING,
        _where(check),
        f"The check length {check.between} could not be held against the scan: the photos do "
        f"not show sheet {' or '.join(lost)}.",
        "Lay the tape between two sheets that are in the photos.",
    )
