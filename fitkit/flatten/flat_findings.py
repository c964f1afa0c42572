"""What flattening notices about its own result."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from fitkit.findings import Finding, Severity
from fitkit.flatten.remesh import smallest_angle_rad
from fitkit.flatten.rolled_fit import RolledFit
from fitkit.flatten.sheet_demand import SheetDemand
from fitkit.flatten.smoothing import Smoothed
from fitkit.flatten.symmetric_dirichlet import FlatMap
from fitkit.flatten.way_up import WayUp
from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh
from fitkit.materials.sheet_material import sheet_material_named
from fitkit.patch.design import PatchDesign

__all__ = [
    "ease_findings",
    "length_findings",
    "noise_findings",
    "overlap_findings",
    "roll_findings",
    "sliver_findings",
    "stretch_findings",
    "unsettled_findings",
    "way_findings",
]

# From here on card that is bent over the form stands off or creases plain to see; common practice.
_CARD_STRAIN_PLAIN_TO_SEE = 0.05
# Beyond the first, forming takes more than bending and truing up: common practice, no source. The
# second is the elongation of soft aluminium sheet (1100-O, 1.6 mm, typical; from memory).
_HEAVY_STRAIN = 0.15
_TEARING_STRAIN = 0.35
# Padding takes up this much between a plate and its wearer; common practice.
_OFF_MM = 3.0
# A fit that still gives by this many times the limit tells nothing.
_ROLLED_TOO_FAR = 1.5
# Beyond this the noise hides creases and edges that a plate would have to follow.
_ROUGH_MM = 1.0
# Less than this nobody feels in the sheet; common practice.
_FELT_STRAIN = 0.001
# A girth on the blank within this of the form's is true enough not to speak of.
_LENGTH_STRAIN = 0.003


def stretch_findings(design: PatchDesign, demand: SheetDemand) -> list[Finding]:
    """Say how far a plate is from lying on the form without tearing or creasing."""
    at_worst = (
        f"{100 * (demand.least - 1):+.1f} to {100 * (demand.most - 1):+.1f} % at its worst spots"
    )
    if demand.strain > _HEAVY_STRAIN:
        return [_heavy_finding(design, demand.strain, at_worst), *_anneal_findings(design, demand)]
    material = sheet_material_named(design.material)
    if demand.over <= 1.0:
        return _anneal_findings(design, demand)
    if material.forming == "roll":
        plain = demand.strain > _CARD_STRAIN_PLAIN_TO_SEE
        return [
            Finding(
                "stretch-card",
                Severity.WARNING if plain else Severity.NOTE,
                design.name,
                f"{design.material.capitalize()} does not stretch, but to lie on the form this "
                f"piece would have to give by {100 * demand.strain:.1f} % ({at_worst}).",
                "Divide it with another tape line where it bulges or hollows most, or make it of a "
                "sheet that can be formed.",
                number=demand.strain,
                limit=material.stretch_limit,
                unit="strain",
            )
        ]
    return [
        Finding(
            "stretch-limit",
            Severity.WARNING,
            design.name,
            f"To lie on the form the {design.material} would have to give by "
            f"{100 * demand.strain:.1f} % ({at_worst}); it takes "
            f"+{100 * material.stretch_limit:.0f} or -{100 * material.shrink_limit:.0f} %.",
            "Cut relief into it or divide it with another tape line where it bulges or hollows "
            "most, or choose a softer sheet.",
            number=demand.over,
            limit=1.0,
            unit="times the limit",
        ),
        *_anneal_findings(design, demand),
    ]


def ease_findings(design: PatchDesign, form: TriangleMesh, stretch: Floats) -> list[Finding]:
    """Say what a blank that is eased overall gives on the whole, and at its worst spot.

    ``stretch`` (F, 2) float: principal stretches from flat to form.
    """
    if design.ease != "overall":
        return []
    areas = form.face_areas_mm2()
    usual = float(np.sqrt((areas @ np.square(stretch - 1.0)).sum() / (2.0 * areas.sum())))
    worst = float(np.abs(stretch - 1.0).max())
    if worst < _FELT_STRAIN:
        return []
    return [
        Finding(
            "eased-overall",
            Severity.NOTE,
            design.name,
            f"It is laid out to give least on the whole, {100 * usual:.1f} %, rather than at its "
            f"worst spot, which gives {100 * worst:.1f} %.",
            number=usual,
            unit="strain",
        )
    ]


def _heavy_finding(design: PatchDesign, strain: float, at_worst: str) -> Finding:
    too_far = strain > _TEARING_STRAIN
    return Finding(
        "stretch-heavy",
        Severity.STOP if too_far else Severity.WARNING,
        design.name,
        f"To lie on the form this piece would have to give by {100 * strain:.0f} % ({at_worst})"
        + (": more than soft sheet gives before it tears." if too_far else "."),
        "Look whether its lines take in more of the form than you meant (an arm, the other side); "
        "else divide it with another tape line where it bulges or hollows most.",
        number=strain,
        limit=_TEARING_STRAIN if too_far else _HEAVY_STRAIN,
        unit="strain",
    )


def _anneal_findings(design: PatchDesign, demand: SheetDemand) -> list[Finding]:
    if not demand.anneals:
        return []
    times = "once" if demand.anneals == 1 else f"{demand.anneals} times"
    return [
        Finding(
            "anneal",
            Severity.NOTE,
            design.name,
            f"Forming it of {design.material} hardens the sheet more than one round may: anneal it "
            f"{times} on the way. Thickness left at its thinnest: {demand.thinnest_mm:.2f} mm of "
            f"{design.thickness_mm:g} mm.",
            number=float(demand.anneals),
            limit=0.0,
            unit="anneals",
        )
    ]


def roll_findings(design: PatchDesign, fit: RolledFit, limit: float) -> list[Finding]:
    """Say how far a sheet that is only bent stands off the form."""
    if fit.strain > _ROLLED_TOO_FAR * limit:
        return []
    plain = fit.most_mm > _OFF_MM
    return [
        Finding(
            "roll-gap",
            Severity.WARNING if plain else Severity.NOTE,
            design.name,
            f"Only bent, the {design.material} stands off the form by up to {fit.most_mm:.1f} mm "
            f"(no more than {fit.usual_mm:.1f} mm over 95 % of it), giving by "
            f"{100 * fit.strain:.1f} %.",
            "Cut relief into it or divide it with another tape line, if that is too far."
            if plain
            else "",
            number=fit.most_mm,
            limit=_OFF_MM,
            unit="mm",
        )
    ]


def length_findings(
    design: PatchDesign, formed_and_flat: Mapping[str, tuple[float, float]]
) -> list[Finding]:
    """Say which line's length on the blank is furthest from its length on the form.

    Parts that meet along a line are flattened each for itself, so this is also by how much their
    edges may disagree before forming.
    """
    off = {name: flat / formed - 1.0 for name, (formed, flat) in formed_and_flat.items()}
    line = max(sorted(off), key=lambda name: abs(off[name]))
    if abs(off[line]) <= _LENGTH_STRAIN:
        return []
    formed, flat = formed_and_flat[line]
    return [
        Finding(
            "line-length",
            Severity.NOTE,
            design.name,
            f"Its line '{line}' is {flat:.1f} mm long on the blank and {formed:.1f} mm on the form "
            f"({100 * off[line]:+.1f} %): forming has to make up the difference.",
            number=off[line],
            limit=_LENGTH_STRAIN,
            unit="strain",
        )
    ]


def noise_findings(name: str, smoothed: Smoothed) -> list[Finding]:
    """Say how much noise was taken off the form, and warn where it was more than is safe to."""
    if smoothed.noise_mm == 0.0:
        return []
    rough = smoothed.noise_mm > _ROUGH_MM
    return [
        Finding(
            "form-noise",
            Severity.WARNING if rough else Severity.NOTE,
            name,
            f"The form is rough by about {smoothed.noise_mm:.2f} mm here; it was smoothed, and "
            f"averaged over a palm's width it moved by no more than {smoothed.moved_mm:.2f} mm.",
            "Scan it again with more photos of this part, or smooth the mesh it came from."
            if rough
            else "",
            number=smoothed.noise_mm,
            limit=_ROUGH_MM,
            unit="mm",
        )
    ]


def overlap_findings(name: str, overlap_mm2: float, area_mm2: float) -> list[Finding]:
    """Say that the flat piece lies over itself and cannot be cut."""
    if overlap_mm2 <= 1e-6 * area_mm2:
        return []
    return [
        Finding(
            "flat-overlap",
            Severity.STOP,
            name,
            f"Laid flat the piece lies over itself on {overlap_mm2:.0f} mm2 "
            f"({100 * overlap_mm2 / area_mm2:.1f} % of it), so it cannot be cut from one sheet.",
            "Divide it into two patches with another tape line across the place that folds over.",
            number=overlap_mm2,
            limit=0.0,
            unit="mm2",
        )
    ]


def sliver_findings(name: str, form: TriangleMesh) -> list[Finding]:
    """Say that the patch was laid flat on the triangles it was cut with."""
    angle_deg = float(np.degrees(smallest_angle_rad(form)))
    return [
        Finding(
            "slivers-kept",
            Severity.NOTE,
            name,
            f"It was laid flat on its own triangles ({len(form.faces)} of them, the narrowest "
            f"{angle_deg:.2g} degrees wide): its stretch is less sure near its edges.",
            number=angle_deg,
            unit="degrees",
        )
    ]


def unsettled_findings(name: str, reached: FlatMap) -> list[Finding]:
    """Say that the flat piece had not come to rest."""
    if reached.converged:
        return []
    return [
        Finding(
            "flat-not-settled",
            Severity.WARNING,
            name,
            f"After {reached.iterations} steps the flat piece could still get better "
            f"(energy {reached.energy:.2e}, {reached.decrement:.1e} to gain).",
            "Divide the patch, or move its lines away from creases of the form.",
            number=reached.decrement,
        )
    ]


def way_findings(name: str, way: WayUp) -> list[Finding]:
    """Say what the arrow of a part shows that has no plain up."""
    if way.shown == "up":
        return []
    shows = "shows the wearer's front" if way.shown == "front" else "is left out"
    return [
        Finding(
            "up-not-plain",
            Severity.NOTE,
            name,
            f"It lies nearly level on the wearer: its arrow {shows}.",
        )
    ]
