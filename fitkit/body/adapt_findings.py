"""What there is to say about a body that was reshaped to a tape list."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
import shapely

from fitkit.body.adapted_body import AdaptedMeasure
from fitkit.body.body import Body
from fitkit.body.new_dents import new_dents_mm
from fitkit.body.taut_round import taut_rounds
from fitkit.findings import Finding, Severity
from fitkit.geometry.mesh import TriangleMesh

__all__ = ["measure_findings", "shape_findings", "unknown_findings"]

_LIMIT_MM = 1.0
_FAR_SHARE = 0.2
_LEVELS = 16
_TOUCH_MM2 = 5.0
_DENT_MM = 1.0


def unknown_findings(unknown: Sequence[str], names: Iterable[str]) -> list[Finding]:
    """Say which names of the tape list are no measures of the body."""
    return [
        Finding(
            "adapt-not-on-body",
            Severity.WARNING,
            name,
            f"'{name}' of the tape list is no measure of this body, so it was left out.",
            f"Use the names of this body: {', '.join(names) or 'none found'}.",
        )
        for name in unknown
    ]


def measure_findings(rows: Sequence[AdaptedMeasure]) -> list[Finding]:
    """Say which measures could not be reached, and which were far from the wearer's."""
    findings = [
        Finding(
            "body-adapted",
            Severity.NOTE,
            "body",
            f"The body was reshaped to {len(rows)} measures of the tape list.",
        )
    ]
    for row in rows:
        if abs(row.off_mm) > _LIMIT_MM:
            findings.append(
                Finding(
                    "adapt-contradiction",
                    Severity.WARNING,
                    row.name,
                    f"{row.name} comes out at {row.after_mm:.1f} mm, {row.off_mm:+.1f} mm from the "
                    "tape list; the list asks for measures that this body cannot have together.",
                    "Take that measure, and those near it, again on the wearer.",
                    abs(row.off_mm),
                    _LIMIT_MM,
                    "mm",
                )
            )
        change = row.wanted_mm / row.before_mm - 1.0
        if abs(change) > _FAR_SHARE:
            findings.append(
                Finding(
                    "adapt-far",
                    Severity.WARNING,
                    row.name,
                    f"{row.name} was changed by {100 * change:+.0f} %, from {row.before_mm:.0f} "
                    f"to {row.wanted_mm:.0f} mm; that far the shape between the tapes is a guess.",
                    "Use a stand-in nearer to the wearer's size, or give more measures.",
                    abs(100 * change),
                    100 * _FAR_SHARE,
                    "%",
                )
            )
    return findings


def shape_findings(before: Body, after: Body, notes: Sequence[str]) -> list[Finding]:
    """Say which arms went with the trunk, where dents came, and where parts cross."""
    findings = [
        Finding(
            "adapt-arm-held",
            Severity.NOTE,
            "body",
            f"As {note}, it was reshaped together with the trunk.",
        )
        for note in notes
    ]
    findings += _dent_findings(before, after)
    armpits = [mark for name, mark in after.landmarks.items() if name.endswith("armpit")]
    if not armpits:
        return findings
    low = float(after.mesh.vertices[:, 2].min())
    top = float(min(mark.at_mm[2] for mark in armpits))
    touching = [
        height
        for height in np.linspace(top - 10.0, low + 10.0, _LEVELS).tolist()
        if _overlap_mm2(after.mesh, height) > _overlap_mm2(before.mesh, height) + _TOUCH_MM2
    ]
    if touching:
        findings.append(
            Finding(
                "adapt-parts-cross",
                Severity.STOP,
                f"{touching[0]:.0f} mm up",
                "Parts of the body that hung free of each other now pass through each other, "
                f"from {touching[-1]:.0f} to {touching[0]:.0f} mm above the floor.",
                "Use a stand-in with its arms farther from the trunk, or nearer in size.",
            )
        )
    return findings


def _dent_findings(before: Body, after: Body) -> list[Finding]:
    dents = new_dents_mm(before.mesh, after.mesh)
    deepest = float(dents.max())
    if deepest <= _DENT_MM:
        return []
    x, y, z = after.mesh.vertices[int(np.argmax(dents))].tolist()
    return [
        Finding(
            "adapt-dent",
            Severity.WARNING,
            f"x {x:.0f}, y {y:.0f}, z {z:.0f}",
            f"Reshaping made a dent {deepest:.1f} mm deep at x {x:.0f}, y {y:.0f}, z {z:.0f}.",
            "Look there in the picture of the change, and give a measure near it or take the "
            "measures about it again.",
            deepest,
            _DENT_MM,
            "mm",
        )
    ]


def _overlap_mm2(mesh: TriangleMesh, height_mm: float) -> float:
    """Return the area that two rounds of one level share."""
    rounds = taut_rounds(mesh, np.array([0.0, 0.0, height_mm]), np.array([0.0, 0.0, 1.0]))
    shapes = [shapely.make_valid(shapely.Polygon(one.path.points_mm[:, :2])) for one in rounds]
    return float(
        sum(
            shapely.intersection(first, second).area
            for k, first in enumerate(shapes)
            for second in shapes[:k]
        )
    )
