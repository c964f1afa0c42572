"""The straps of a job, laid over its plates for the templates."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from fitkit.errors import DesignError, FitkitError
from fitkit.workflow.job_plates import JobPlates

if TYPE_CHECKING:
    from fitkit.geometry.arrays import Floats
    from fitkit.holding.strap import Strap
    from fitkit.holding.strap_design import StrapDesign
    from fitkit.holding.worn_sheet import WornSheet
    from fitkit.job.job_folder import Job
    from fitkit.template.template import Template

__all__ = ["laid_straps", "strap_drawings", "straps_picture"]

# A place farther than this off its plate is meant for another.
_OFF_PLATE_MM = 40.0
# Plates on forms of their own lie so near to that of the picture at most.
_SAME_PLATE_MM = 15.0


def laid_straps(job: Job, plates: JobPlates | None = None) -> tuple[Strap, ...]:
    """Return the straps of a job as they lie on its plates; the blanks need not be made.

    ``plates`` are the job's, where they have been read already.

    Raises
    ------
    DesignError
        When a strap cannot be laid; the cause names it.
    """
    from fitkit.job.designs import strap_designs

    designs = strap_designs(job.settings)
    if not designs:
        return ()
    plates = plates or JobPlates(job)
    straps = []
    for design in designs:
        try:
            straps.append(_laid(plates, design))
        except FitkitError as error:
            said = f"In the strap '{design.name}': {error.cause}"
            cause = error.cause if f"'{design.name}'" in error.cause else said
            raise DesignError(cause, error.remedy) from error
    return tuple(straps)


def strap_drawings(job: Job, straps: Sequence[Strap], *, number: int) -> list[Template]:
    """Return the templates of all pieces of straps that go on a page."""
    from fitkit.body.side import Side
    from fitkit.template.strap_template import strap_templates

    drawn: list[Template] = []
    for strap in straps:
        side = Side.CENTRE
        if strap.design.paired:
            side = Side.LEFT if strap.run.points_mm[:, 0].mean() > 0 else Side.RIGHT
        drawn += strap_templates(
            strap,
            number=number + len(drawn),
            side=side,
            job_name=job.settings.job.name,
            wearer=job.settings.wearer.name,
            revision=job.settings.job.revision,
        )
    return drawn


def straps_picture(plates: JobPlates, straps: Sequence[Strap]) -> bytes:
    """Return the straps on the wearer, with the plates they hold."""
    from fitkit.export.body_picture import png_of_body
    from fitkit.geometry.nearest import nearest_on_mesh
    from fitkit.holding.worn_sheet import ACROSS

    form = plates.form(plates.upper(straps[0].design.on))
    middles = form.corners.mean(axis=1)
    values = np.full(len(middles), -1)
    names = dict.fromkeys(sheet.patch for strap in straps for sheet in strap.sheets)
    for number, name in enumerate(names):
        for sheet in plates.sheets(name):
            near = nearest_on_mesh(sheet.mesh, middles)[2] < _SAME_PLATE_MM
            values[near] = np.where(sheet.holds(middles[near]), number, values[near])
    lines: list[tuple[str, Floats]] = []
    for strap in straps:
        outline = strap.outline_mm()
        lines.append((strap.design.name, outline))
        if strap.design.paired:
            lines.append((strap.design.name, outline * ACROSS))
    return png_of_body(
        form,
        paths=lines,
        face_values=values,
        views=("front", "left", "back", "right"),
        height_px=620,
        letters_px=26,  # four views share a page's width
    )


def _laid(plates: JobPlates, design: StrapDesign) -> Strap:
    from fitkit.geometry.geodesic import join_paths, shortest_legs
    from fitkit.geometry.nearest import nearest_on_mesh
    from fitkit.geometry.surface_point import SurfacePoint
    from fitkit.holding.strap import lay_strap

    ends = [
        _on_plate(plates, design, name, plates.place(plates.form(name), name, anchor))
        for name, anchor in zip(design.on, design.at, strict=True)
    ]
    (first, first_at), (last, last_at) = ends
    upper = plates.upper(design.on)
    surface = plates.body.mesh if design.over == "body" else plates.form(upper)
    via = [plates.place(surface, upper, anchor) for anchor in design.through]
    stops = np.stack([first_at, *via, last_at])
    on, faces, _ = nearest_on_mesh(surface, stops)
    if np.linalg.norm(np.diff(on, axis=0), axis=1).min() < 1.0:
        raise DesignError(
            f"The strap '{design.name}' starts and ends in one place.",
            "Give a place on each plate where its rivets are to be, apart from each other.",
        )
    points = [SurfacePoint(point, int(face)) for point, face in zip(on, faces, strict=True)]
    path = join_paths(shortest_legs(surface, points))
    return lay_strap(
        design, surface, path, (first, last), (first_at, last_at), body=plates.body.mesh
    )


def _on_plate(
    plates: JobPlates, design: StrapDesign, name: str, at: Floats
) -> tuple[WornSheet, Floats]:
    """Return the plate that a place is nearest to, as drawn or its twin, and the place on it."""
    from fitkit.geometry.nearest import nearest_on_mesh

    found = [(sheet, nearest_on_mesh(sheet.mesh, at[None])) for sheet in plates.sheets(name)]
    sheet, (point, _, away) = min(found, key=lambda one: float(one[1][2][0]))
    if away[0] > _OFF_PLATE_MM:
        raise DesignError(
            f"The place of the strap '{design.name}' on '{name}' lies {away[0]:.0f} mm off it.",
            "Give a place on the plate, or name the plate that lies there.",
        )
    return sheet, point[0]
