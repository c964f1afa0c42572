"""What fastens a job's removable plates, and whether a hand or a driver gets at it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from fitkit.workflow.job_plates import JobPlates

if TYPE_CHECKING:
    from fitkit.findings import Finding
    from fitkit.holding.fastener import LaidFastener
    from fitkit.holding.strap import Strap
    from fitkit.holding.worn_sheet import WornSheet
    from fitkit.job.job_folder import Job
    from fitkit.template.rivet_joint import RivetHoles

__all__ = ["chosen_findings", "laid_fasteners", "reach_findings"]

_SOFT = ("card", "foam", "leather")
_TAKEN_OUT = ("screw", "post")


def laid_fasteners(job: Job, plates: JobPlates | None = None) -> tuple[LaidFastener, ...]:
    """Return the fasteners of a job as they go through its plates.

    ``plates`` are the job's, where they have been read already.

    Raises
    ------
    DesignError
        When one is not where its two plates lie on each other.
    """
    from fitkit.geometry.nearest import nearest_on_mesh
    from fitkit.holding.fastener import lay_fastener
    from fitkit.job.designs import fastener_designs

    designs = fastener_designs(job.settings)
    if not designs:
        return ()
    plates = plates or JobPlates(job)
    laid = []
    for design in designs:
        at = plates.place(plates.form(design.on[0]), design.on[0], design.at)
        pairs = []
        for name in design.on:
            worn = plates.sheets(name)
            away = [float(nearest_on_mesh(sheet.mesh, at[None])[2][0]) for sheet in worn]
            pairs.append(worn[int(np.argmin(away))])
        soft = any(plates.design(name).material in _SOFT for name in design.on)
        laid.append(lay_fastener(design, (pairs[0], pairs[1]), at, soft=soft))
    return tuple(laid)


def chosen_findings(fasteners: Sequence[LaidFastener]) -> tuple[Finding, ...]:
    """Return which fasteners were chosen where the maker named none, and why."""
    from fitkit.findings import Finding, Severity

    return tuple(
        Finding(
            "fastener-chosen",
            Severity.NOTE,
            one.design.name,
            f"{one.kind[0].upper()}{one.kind[1:]} for '{one.design.name}': {one.why}.",
        )
        for one in fasteners
        if one.design.kind is None
    )


def reach_findings(
    plates: JobPlates,
    fasteners: Sequence[LaidFastener],
    straps: Sequence[Strap],
    rows: Sequence[RivetHoles] = (),
) -> tuple[Finding, ...]:
    """Return what no hand or driver gets at when all is worn.

    Looked at are the fasteners, the straps' closings, and the rows of screws and posts in laps.
    """
    removable = [row for row in rows if row.joins and row.rivet.kind in _TAKEN_OUT]
    if not fasteners and not straps and not removable:
        return ()
    from fitkit.holding.reach import reach, reach_finding

    every = plates.all_sheets()
    found = []
    for one in fasteners:
        free = reach(one.at_mm, one.outward, one.tool, _but(every, one.seats[0].patch))
        found.append(reach_finding(one.design.name, one.tool, free))
    for strap in straps:
        run, sheet = strap.run, strap.sheets[1]
        k = int(np.abs(run.arc_mm - run.length_mm).argmin())
        out = 0.5 * sheet.thickness_mm + 2.0 * strap.design.thickness_mm
        at = run.points_mm[k] + out * run.normals[k]
        free = reach(at, run.normals[k], "hand", _but(every, sheet.patch))
        found.append(reach_finding(strap.design.name, "hand", free))
    found += [_row_finding(row, every) for row in removable]
    return tuple(one for one in found if one is not None)


def _row_finding(row: RivetHoles, every: Sequence[WornSheet]) -> Finding | None:
    """Return what is wrong with the hole of a row that is hardest to get at."""
    from fitkit.geometry.nearest import nearest_on_mesh
    from fitkit.geometry.straight_walk import unit_normals
    from fitkit.holding.reach import reach, reach_finding

    (sheet,) = [one for one in every if one.patch == row.patch and not one.twin]
    others = [one for one in every if one.patch not in (row.patch, row.joins)]
    _, faces, _ = nearest_on_mesh(sheet.mesh, row.formed_mm)
    normals = unit_normals(sheet.mesh, faces)
    ways = [
        reach(at + row.grip_mm * out, out, "driver", others)
        for at, out in zip(row.formed_mm, normals, strict=True)
    ]
    worst = min(ways, key=lambda one: one.free_share)
    return reach_finding(f"{row.patch}, {row.rivet.noun}s to {row.joins}", "driver", worst)


def _but(sheets: Sequence[WornSheet], patch: str) -> list[WornSheet]:
    """Return the plates but the one that a fastening sits on."""
    return [sheet for sheet in sheets if sheet.patch != patch]
