"""The maker's relief cuts and places without cuts, laid on their patch."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitkit.patch.design import KeepOut, PointAnchor

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fitkit.flatten.relief_cuts import SurfaceCut
    from fitkit.geometry.arrays import Floats
    from fitkit.job.job_folder import Job
    from fitkit.patch.design import Anchor
    from fitkit.patch.patch import Patch

__all__ = ["keep_out_places", "placed_cuts", "points_on_patch"]


def placed_cuts(job: Job, patch: Patch) -> tuple[SurfaceCut, ...]:
    """Return the relief cuts of a patch's design, on the patch."""
    from fitkit.flatten.relief_cuts import SurfaceCut

    cuts = patch.design.cuts
    at = points_on_patch(job, patch, [end for cut in cuts for end in (cut.edge, cut.tip)])
    return tuple(SurfaceCut(at[2 * i], at[2 * i + 1]) for i in range(len(cuts)))


def keep_out_places(job: Job, patch: Patch) -> tuple[tuple[Floats, float], ...]:
    """Return the places of a patch that no advised cut may enter: middle and radius."""
    places = [row for row in patch.design.no_cuts if isinstance(row, KeepOut)]
    at = points_on_patch(job, patch, [place.middle for place in places])
    return tuple((point, place.within_mm) for point, place in zip(at, places, strict=True))


def points_on_patch(job: Job, patch: Patch, anchors: Sequence[Anchor]) -> list[Floats]:
    """Return where anchors lie on a patch, (3,) mm each.

    Rays from a limb's or the trunk's axis end on the patch itself; landmarks and points in space
    go to its nearest place.

    Raises
    ------
    DesignError
        When one cannot be placed.
    """
    if not anchors:
        return []
    if all(isinstance(anchor, PointAnchor) for anchor in anchors):
        # The commonest case, written by an adopted choice, needs no body.
        import numpy as np

        from fitkit.geometry.nearest import nearest_on_mesh

        wanted = np.array([[a.x_mm, a.y_mm, a.z_mm] for a in anchors if isinstance(a, PointAnchor)])
        return list(nearest_on_mesh(patch.mesh, wanted)[0])
    from fitkit.job.body_files import read_body
    from fitkit.patch.anchor import place_anchors
    from fitkit.patch.form import Form

    form = Form(patch.mesh, patch.design.clearance_mm or 0.0, read_body(job.result_folder("body")))
    return [point.point_mm for point in place_anchors(form, anchors)]
