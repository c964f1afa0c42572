"""Emblems of the job, laid on their plates for the templates."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fitkit.workflow.place_cuts import points_on_patch

if TYPE_CHECKING:
    from fitkit.findings import Finding
    from fitkit.flatten.flat_patch import FlatPatch
    from fitkit.geometry.arrays import Floats
    from fitkit.job.job_folder import Job

__all__ = ["artwork_on"]


def artwork_on(
    job: Job, flat: FlatPatch
) -> tuple[tuple[Floats, ...], tuple[Floats, ...], tuple[Finding, ...]]:
    """Return the lines of a blank's emblems on the flat, and those that its twin takes mirrored.

    Raises
    ------
    FileError
        When a file cannot be read.
    DesignError
        When a place cannot be found.
    """
    from fitkit.job.designs import artwork_designs

    chosen = [
        (design, row.file)
        for design, row in zip(artwork_designs(job.settings), job.settings.artwork, strict=True)
        if design.on == flat.design.name
    ]
    if not chosen:
        return (), (), ()
    from fitkit.flatten.laid_artwork import lay_artwork
    from fitkit.job.artwork_files import read_artwork
    from fitkit.job.patch_files import read_patch

    patch = read_patch(job.result_folder("patches"), flat.design)
    places = points_on_patch(job, patch, [design.at for design, _ in chosen])
    drawn: list[Floats] = []
    on_twin: list[Floats] = []
    findings: list[Finding] = []
    for (design, file), at in zip(chosen, places, strict=True):
        lines = [design.width_mm * line for line in read_artwork(job.folder, file)]
        laid = lay_artwork(flat, design.name, at, lines, design.turn_rad)
        drawn += laid.lines_mm
        findings += laid.findings
        if design.twin == "mirrored":
            on_twin += laid.lines_mm
        elif design.twin == "same":
            # Mirrored here and once more with the part, it comes out the same way round.
            over = [line * np.array([-1.0, 1.0]) for line in lines]
            on_twin += lay_artwork(flat, design.name, at, over, -design.turn_rad).lines_mm
    return tuple(drawn), tuple(on_twin), tuple(findings)
