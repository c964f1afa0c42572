"""The pads of a job, laid flat under their plates for the templates."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from fitkit.flatten.flat_patch import FlatPatch
    from fitkit.geometry.arrays import Floats
    from fitkit.holding.pad import LaidPad
    from fitkit.job.job_folder import Job
    from fitkit.template.rivet_joint import RivetHoles
    from fitkit.template.template import Template
    from fitkit.workflow.seats import SeatsOn

__all__ = ["laid_pads", "pad_drawings"]


def laid_pads(
    job: Job,
    flats: Sequence[FlatPatch],
    rows: Sequence[RivetHoles],
    seats: Mapping[str, SeatsOn],
) -> tuple[LaidPad, ...]:
    """Return the pads of a job, clear of the holes that the plates and their twins have.

    Raises
    ------
    DesignError
        When a pad cannot be laid.
    """
    from fitkit.holding.pad import lay_pad
    from fitkit.job.designs import pad_designs
    from fitkit.job.patch_files import read_patch

    pads = []
    for design in pad_designs(job.settings):
        flat = next(one for one in flats if one.design.name == design.on)
        patch = read_patch(job.result_folder("patches"), flat.design)
        holes = _holes(flat, rows, seats.get(design.on))
        pads.append(lay_pad(design, patch, flat, holes))
    return tuple(pads)


def pad_drawings(
    job: Job, pads: Sequence[LaidPad], flats: Sequence[FlatPatch], *, number: int
) -> list[Template]:
    """Return the templates of all pads, twins of those under a pair among them."""
    from fitkit.template.soft_template import soft_templates

    drawn: list[Template] = []
    for pad in pads:
        plate = next(one.design for one in flats if one.design.name == pad.design.on)
        for piece in pad.pieces:
            drawn += soft_templates(
                piece,
                number=number + len(drawn),
                side=plate.side,
                paired=plate.paired,
                job_name=job.settings.job.name,
                wearer=job.settings.wearer.name,
                revision=job.settings.job.revision,
            )
    return drawn


def _holes(flat: FlatPatch, rows: Sequence[RivetHoles], seats: SeatsOn | None) -> Floats:
    """(M, 3) float mm: centre and diameter of every hole of a plate or its twin on its blank."""
    name = flat.design.name
    found = [(row.holes_mm, row.drill_mm) for row in rows if row.patch == name]
    found += [(mount.holes_mm, mount.hole_mm) for mount in flat.mounts]
    if seats is not None:
        found += [(seat.holes_mm, seat.hole_mm) for seat in (*seats.drawn, *seats.twin)]
    holes = [np.column_stack([at, np.full(len(at), across)]) for at, across in found]
    # What both have alike is one hole.
    every = np.concatenate([np.zeros((0, 3)), *holes])
    return every[np.sort(np.unique(every.round(1), axis=0, return_index=True)[1])]
