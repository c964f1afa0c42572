"""The soft pieces in the gaps between a job's plates, for the templates."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fitkit.body.side import Side
from fitkit.workflow.job_plates import JobPlates

if TYPE_CHECKING:
    from fitkit.geometry.arrays import Floats
    from fitkit.holding.gusset_design import GussetDesign
    from fitkit.holding.soft_piece import SoftPiece
    from fitkit.holding.worn_sheet import WornSheet
    from fitkit.job.job_folder import Job
    from fitkit.motion.riding_plate import RidingPlate
    from fitkit.template.template import Template
    from fitkit.workflow.moving_body import MovingBody

__all__ = ["gusset_drawings"]


def gusset_drawings(job: Job, plates: JobPlates, *, number: int) -> list[Template]:
    """Return the templates of all soft pieces, with room for what is asked of the joints.

    Raises
    ------
    DesignError
        When two plates have no gap at the place told.
    """
    from fitkit.job.designs import gusset_designs
    from fitkit.template.soft_template import soft_templates
    from fitkit.workflow.moving_body import moving_body

    moving = moving_body(job)
    drawn: list[Template] = []
    for design in gusset_designs(job.settings):
        piece, at = _laid(plates, design, moving)
        side = Side.CENTRE
        if design.paired:
            side = Side.LEFT if at[0] > 0 else Side.RIGHT
        drawn += soft_templates(
            piece,
            number=number + len(drawn),
            side=side,
            paired=design.paired,
            job_name=job.settings.job.name,
            wearer=job.settings.wearer.name,
            revision=job.settings.job.revision,
        )
    return drawn


def _laid(plates: JobPlates, design: GussetDesign, moving: MovingBody) -> tuple[SoftPiece, Floats]:
    """Return the piece of a gap and the place told in it, (3,) mm."""
    from fitkit.geometry.nearest import nearest_on_mesh
    from fitkit.holding.gusset import gap_strip, lay_gusset
    from fitkit.motion.gap_sweep import swept_widths_mm

    upper = plates.upper(design.between)
    surface = plates.form(upper)
    at = plates.place(surface, upper, design.at)
    sheets = []
    for name in design.between:
        worn = plates.sheets(name)
        away = [float(nearest_on_mesh(sheet.mesh, at[None])[2][0]) for sheet in worn]
        sheets.append(worn[int(np.argmin(away))])
    first, last = sheets
    edges = plates.edge(first, at), plates.edge(last, at)
    strip = gap_strip(design, (first, last), edges, surface, at)
    swept = None
    if moving.ranges:
        riding = _riding(moving, first), _riding(moving, last)
        swept = swept_widths_mm(strip.rows_mm, *riding, moving.skin, moving.ranges)
    return lay_gusset(design, strip, swept), at


def _riding(moving: MovingBody, sheet: WornSheet) -> RidingPlate:
    """Return the plate that moves as a sheet is worn."""
    own = [plate for plate in moving.plates if plate.patch == sheet.patch]
    return min(
        own,
        key=lambda plate: float(
            np.linalg.norm(plate.mesh.vertices.mean(axis=0) - sheet.mesh.vertices.mean(axis=0))
        ),
    )
