"""The maker's relief cuts and places without cuts, laid on their patch."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fitkit.patch.design import KeepOut, LineAnchor, PointAnchor

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fitkit.flatten.relief_cuts import SurfaceCut
    from fitkit.geometry.arrays import Floats
    from fitkit.geometry.surface_path import SurfacePath
    from fitkit.job.job_folder import Job
    from fitkit.patch.design import Anchor
    from fitkit.patch.patch import Patch

__all__ = ["keep_out_places", "laid_lines", "placed_cuts", "points_on_patch"]


def placed_cuts(job: Job, patch: Patch) -> tuple[SurfaceCut, ...]:
    """Return the relief cuts of a patch's design, on the patch."""
    from fitkit.flatten.relief_cuts import SurfaceCut

    return tuple(
        SurfaceCut(*points_on_patch(job, patch, [cut.edge, cut.tip])) for cut in patch.design.cuts
    )


def keep_out_places(job: Job, patch: Patch) -> tuple[tuple[Floats, float], ...]:
    """Return the places of a patch that no advised cut may enter: middle and radius."""
    places = [row for row in patch.design.no_cuts if isinstance(row, KeepOut)]
    at = points_on_patch(job, patch, [place.middle for place in places])
    return tuple((point, place.within_mm) for point, place in zip(at, places, strict=True))


def points_on_patch(job: Job, patch: Patch, anchors: Sequence[Anchor]) -> list[Floats]:
    """Return where anchors lie on a patch, (3,) mm each.

    Rays from a limb's or the trunk's axis end on the patch itself; landmarks and points in space
    and places on tape lines go to its nearest place. A place on a line that says no more is the one
    nearest to the anchor beside it.

    Raises
    ------
    DesignError
        When one cannot be placed.
    """
    if not anchors:
        return []
    if all(isinstance(anchor, PointAnchor) for anchor in anchors):
        # The commonest case, written by an adopted choice, needs no body.
        from fitkit.geometry.nearest import nearest_on_mesh

        wanted = np.array([[a.x_mm, a.y_mm, a.z_mm] for a in anchors if isinstance(a, PointAnchor)])
        return list(nearest_on_mesh(patch.mesh, wanted)[0])
    from fitkit.geometry.nearest import nearest_on_mesh
    from fitkit.job.body_files import read_body
    from fitkit.patch.form import Form
    from fitkit.patch.line_anchor import place_among_lines

    form = Form(patch.mesh, patch.design.clearance_mm or 0.0, read_body(job.result_folder("body")))
    on_lines = any(isinstance(anchor, LineAnchor) for anchor in anchors)
    placed = place_among_lines(form, anchors, laid_lines(job) if on_lines else {})
    return list(nearest_on_mesh(patch.mesh, np.stack([point.point_mm for point in placed]))[0])


def laid_lines(job: Job) -> dict[str, SurfacePath]:
    """Return the tape lines as laid on any of the job's forms; these lie beside each other."""
    from fitkit.job.patch_files import read_tape_lines

    folder = job.result_folder("patches")
    laid: dict[str, SurfacePath] = {}
    for path in sorted(folder.glob("*-lines.json")):
        for line in read_tape_lines(folder, path.name):
            laid.setdefault(line.name, line.path)
    return laid
