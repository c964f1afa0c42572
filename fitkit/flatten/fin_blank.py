"""A fin: a flat blade on edge, its foot trimmed to the plate."""

from __future__ import annotations

import numpy as np

from fitkit.errors import DesignError
from fitkit.flatten.attachment_blank import AttachmentBlank, tab_along
from fitkit.flatten.attachment_seat import (
    Foot,
    PlateSeat,
    Seat,
    foot_of_lines,
    holes_beside,
    tab_middles,
)
from fitkit.flatten.flat_patch import FlatLine
from fitkit.geometry.mesh import TriangleMesh
from fitkit.patch.attachment_design import AttachmentDesign

__all__ = ["fin_blank"]

_LINES = 201


def fin_blank(
    design: AttachmentDesign, outside: TriangleMesh, seat: Seat
) -> tuple[AttachmentBlank, PlateSeat]:
    """Return a blade on edge: its back rises in a curve to the tip, its front falls straight."""
    along = np.linspace(-0.5, 0.5, _LINES) * design.across_mm
    far = design.height_mm + design.across_mm
    starts = seat.at_mm + along[:, None] * seat.ahead + far * seat.axis
    foot = foot_of_lines(design, outside, starts, np.tile(-seat.axis, (len(along), 1)))
    height = (foot.points_mm - seat.at_mm) @ seat.axis
    bottom = np.column_stack([along, height])
    share = along / design.across_mm + 0.5
    # Highest at two thirds of the length, down to the foot at both ends.
    ridge = np.where(share < 2 / 3, 1 - (1 - 1.5 * share) ** 2, 1 - (3 * share - 2) ** 2)
    ends = height[0] + share * (height[-1] - height[0])
    top = np.column_stack([along, ends + ridge * (design.height_mm - ends)])[1:-1]
    if (top[:, 1] <= height[1:-1]).any():
        raise DesignError(
            f"The fin '{design.name}' is lower than the plate under it.",
            "Make it higher or shorter.",
        )
    # Seen from its left side (``aside`` towards the eye) the length runs to the left.
    bottom, top = (points * np.array([-1.0, 1.0]) for points in (bottom[::-1], top[::-1]))
    foot = Foot(foot.points_mm[::-1], foot.normals[::-1])
    arc = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(bottom, axis=0), axis=1))])
    middles, width = tab_middles(design, arc[[0, -1]])
    ridge_line = np.concatenate([bottom[-1:], top[::-1], bottom[:1]])
    mark = bottom[-1] if seat.ahead @ seat.up < 0 else bottom[0]
    blank = AttachmentBlank(
        design,
        (FlatLine("foot", bottom), FlatLine("top", ridge_line)),
        None,
        (),
        tuple(tab_along(bottom, arc, middle, width, design.tab_mm) for middle in middles),
        mark,
        np.array([0.0, 1.0]),
    )
    sides = np.where(np.arange(len(middles)) % 2 == 0, 1.0, -1.0)
    away = sides * 0.5 * (design.tab_mm + design.thickness_mm)
    holes = holes_beside(outside, foot, arc, middles, away, False)
    rim_at = np.linspace(0.0, arc[-1], 41)
    half = np.full(len(rim_at), 0.5 * design.thickness_mm)
    rim = [holes_beside(outside, foot, arc, rim_at, sign * half, False) for sign in (1.0, -1.0)]
    up = foot.points_mm[-1] if seat.ahead @ seat.up < 0 else foot.points_mm[0]
    return blank, PlateSeat(
        design.name, np.concatenate([rim[0], rim[1][::-1]]), holes, design.hole_mm, up
    )
