"""How true the marker sheets were printed, and what that leaves unknown."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fitkit.capture.marker_sheet import MarkerSheet
from fitkit.capture.tag_set import TagSet
from fitkit.errors import InputError
from fitkit.findings import Finding, Severity
from fitkit.geometry.arrays import Floats

__all__ = ["PrintScale", "print_scale", "tag_scale"]

# A steel rule is read to about 0.3 mm (common practice, no source).
_READING_SIGMA_MM = 0.3
# Printers and "fit to page" settings are off by up to 1 to 2 % (common practice, no source).
_UNMEASURED_SIGMA = 0.01
_MOST_OFF = 0.10
# A calliper over the two edges of a tag, where ink runs (common practice, no source).
_TAG_SIDE_SIGMA_MM = 0.15
_MOST_TAG_SIGMA = 0.0025


@dataclass(frozen=True, slots=True)
class PrintScale:
    """Printed length over nominal length across and up the sheet, and its deviation."""

    x: float
    y: float
    sigma: float

    def of_sheet(self, points_mm: Floats) -> Floats:
        """Return nominal sheet points, (N, 3) mm, as they were printed."""
        printed: Floats = points_mm * np.array([self.x, self.y, 1.0])
        return printed


def print_scale(
    sheets: Sequence[MarkerSheet], printed_mm: tuple[float, float] | None
) -> tuple[PrintScale, tuple[Finding, ...]]:
    """Return the print scale from the measured lengths of a sheet's two check lines.

    Parameters
    ----------
    sheets
        All sheets in the photos. Where they are of several papers, the paper whose check
        lines are nearest the measured lengths is taken as the one measured.
    printed_mm
        Measured length of the horizontal and of the vertical check line, or None.

    Raises
    ------
    InputError
        When a measured length cannot be that of a check line.
    """
    if printed_mm is None:
        cost_mm = 2 * _UNMEASURED_SIGMA * 1000
        return PrintScale(1.0, 1.0, _UNMEASURED_SIGMA), (
            Finding(
                "print-not-measured",
                Severity.WARNING,
                "marker sheets",
                "The printed check lines were not measured; printers are off by up to 1 to 2 %, "
                f"which is up to {cost_mm:.0f} mm in a girth of one metre.",
                "Measure both check lines of a sheet with a steel rule and give the two lengths.",
                number=_UNMEASURED_SIGMA,
                limit=0.002,
                unit="of the length",
            ),
        )
    measured = np.array(printed_mm, dtype=np.float64)
    nominals = sorted({sheet.check_mm for sheet in sheets})
    nominal = min(nominals, key=lambda n: float(np.abs(measured / np.array(n) - 1).max()))
    ratios = measured / np.array(nominal)
    if not np.isfinite(ratios).all() or np.abs(ratios - 1).max() > _MOST_OFF:
        raise InputError(
            f"The measured check lines, {measured[0]:g} mm across and {measured[1]:g} mm up, do "
            f"not go with the nominal {nominal[0]:g} mm and {nominal[1]:g} mm.",
            "Measure the line across the sheet first, then the one up the sheet, in millimetres.",
        )
    findings: list[Finding] = []
    if len(nominals) > 1:
        findings.append(
            Finding(
                "papers-mixed",
                Severity.NOTE,
                "marker sheets",
                "Sheets of several papers are in the photos; the measured check lines of one "
                f"({nominal[0]:g} x {nominal[1]:g} mm) were taken for all of them.",
            )
        )
    sigma = 0.5 * float(np.hypot(*(_READING_SIGMA_MM / np.array(nominal))))
    return PrintScale(float(ratios[0]), float(ratios[1]), sigma), tuple(findings)


def tag_scale(tags: TagSet) -> tuple[PrintScale, tuple[Finding, ...]]:
    """Return the scale of a maker's own tags: as true as their side is known.

    Small tags make an unsure scale, whatever the photos are like; a finding says so.
    """
    side_mm = tags.side_mm or 0.0
    sigma = _TAG_SIDE_SIGMA_MM / side_mm
    findings: tuple[Finding, ...] = ()
    if sigma > _MOST_TAG_SIGMA:
        findings = (
            Finding(
                "tag-side-uncertain",
                Severity.WARNING,
                "tags",
                f"The scale rests on tags of {side_mm:g} mm, whose side is known to about "
                f"{_TAG_SIDE_SIGMA_MM:g} mm; that is {100 * sigma:.1f} %, or {1000 * sigma:.0f} mm "
                "in a girth of one metre.",
                "Lay a tape between the middles of two tags far apart and give it as a check "
                "length, or use larger tags.",
                number=round(100 * sigma, 3),
                limit=100 * _MOST_TAG_SIGMA,
                unit="%",
            ),
        )
    return PrintScale(1.0, 1.0, sigma), findings
