"""Cones, tubes and spikes: straight rulings cut where they meet the plate, laid side by side."""

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
    upward_point,
)
from fitkit.flatten.flat_patch import FlatLine
from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh
from fitkit.patch.attachment_design import AttachmentDesign

__all__ = ["ruled_blank"]

# Rulings round: on 60 mm across every 0.5 mm.
_RULINGS = 360


def ruled_blank(
    design: AttachmentDesign, outside: TriangleMesh, seat: Seat
) -> tuple[AttachmentBlank, PlateSeat]:
    """Return the blank of what is rolled or folded; see ``develop_attachment``."""
    tops, ways = _rulings(design, seat)
    foot = foot_of_lines(design, outside, tops, ways)
    length = np.linalg.norm(foot.points_mm - tops, axis=1)
    # The seam where it is shortest; on a spike at the corner where it is.
    count = len(tops)
    can_be = np.arange(0, count, count // 4) if design.kind == "spike" else np.arange(count)
    first = int(can_be[int(np.argmin(np.round(length[can_be], 6)))])
    order = (first + np.arange(count + 1)) % count
    tops, length = tops[order], length[order]
    foot = Foot(foot.points_mm[order], foot.normals[order])
    top_flat, foot_flat = _unrolled(tops, foot.points_mm)
    arc = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(foot_flat, axis=0), axis=1))])
    arc_formed = np.concatenate(
        [[0.0], np.cumsum(np.linalg.norm(np.diff(foot.points_mm, axis=0), axis=1))]
    )
    corners = arc[:: count // 4] if design.kind == "spike" else arc[[0, -1]]
    middles, width = tab_middles(design, corners)
    top = () if _is_pointed(design) else (FlatLine("top", top_flat[::-1]),)
    edges = (
        FlatLine("foot", foot_flat),
        FlatLine("seam", np.stack([foot_flat[-1], top_flat[-1]])),
        *top,
        FlatLine("seam", np.stack([top_flat[0], foot_flat[0]])),
    )
    quarter = count // 4
    bends = (
        tuple(np.stack([top_flat[k * quarter], foot_flat[k * quarter]]) for k in range(1, 4))
        if design.kind == "spike"
        else ()
    )
    up = upward_point(foot.points_mm[:-1] - seat.at_mm, seat)
    inward = top_flat[up] - foot_flat[up]
    blank = AttachmentBlank(
        design,
        edges,
        1,
        bends,
        tuple(tab_along(foot_flat, arc, middle, width, design.tab_mm) for middle in middles),
        foot_flat[up],
        inward / np.linalg.norm(inward),
    )
    holes = holes_beside(
        outside, foot, arc_formed, middles, np.full(len(middles), 0.5 * design.tab_mm), True
    )
    seat_on_plate = PlateSeat(
        design.name, foot.points_mm[:-1], holes, design.hole_mm, foot.points_mm[up]
    )
    return blank, seat_on_plate


def _is_pointed(design: AttachmentDesign) -> bool:
    return design.kind == "spike" or (design.kind == "cone" and design.top_mm == 0.0)


def _rulings(design: AttachmentDesign, seat: Seat) -> tuple[Floats, Floats]:
    """Return (N, 3) tops and (N, 3) ways down of the rulings, at the middle of the sheet."""
    t = design.thickness_mm
    apex = seat.at_mm + design.height_mm * seat.axis
    if design.kind == "spike":
        half = 0.5 * design.across_mm
        half -= 0.5 * t * np.hypot(1.0, half / design.height_mm)
        share = np.arange(_RULINGS // 4) / (_RULINGS // 4)
        corners = np.array([[1.0, -1.0], [1.0, 1.0], [-1.0, 1.0], [-1.0, -1.0]])
        sides = [
            a + share[:, None] * (b - a)
            for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True)
        ]
        xy = half * np.concatenate(sides)
        base = seat.at_mm + xy[:, :1] * seat.ahead + xy[:, 1:] * seat.aside
        return np.tile(apex, (len(base), 1)), base - apex
    around = seat.around(2.0 * np.pi * np.arange(_RULINGS) / _RULINGS)
    low = 0.5 * design.across_mm
    high = low if design.kind == "tube" else 0.5 * design.top_mm
    inset = 0.5 * t * np.hypot(1.0, (low - high) / design.height_mm)
    if not min(low - inset, high if _is_pointed(design) else high - inset) >= 0 or low <= inset:
        raise DesignError(
            f"The {design.kind} '{design.name}' is narrower than its own sheet.",
            "Make it wider or of thinner sheet.",
        )
    base = seat.at_mm + (low - inset) * around
    if _is_pointed(design):
        return np.tile(apex, (len(base), 1)), base - apex
    tops = apex + (high - inset) * around
    return tops, base - tops


def _unrolled(tops: Floats, feet: Floats) -> tuple[Floats, Floats]:
    """Return tops and feet (N, 2) of a strip of rulings laid flat, seen from its outside.

    Each pair of neighbouring rulings is laid down as it is, rigidly, on the one before.
    """
    count = len(tops)
    flat_top, flat_foot = np.zeros((count, 2)), np.zeros((count, 2))
    length = np.linalg.norm(feet - tops, axis=1)
    flat_top[0] = (0.0, length[0])
    for k in range(1, count):
        flat_foot[k] = _laid(feet[k - 1], tops[k - 1], feet[k], flat_foot[k - 1], flat_top[k - 1])
        if np.linalg.norm(tops[k] - tops[k - 1]) == 0.0:
            flat_top[k] = flat_top[k - 1]
        else:
            flat_top[k] = _laid(
                feet[k - 1], tops[k - 1], tops[k], flat_foot[k - 1], flat_top[k - 1]
            )
    return flat_top, flat_foot


def _laid(a: Floats, b: Floats, c: Floats, flat_a: Floats, flat_b: Floats) -> Floats:
    """Return where c lies when the triangle a, b, c is laid to the right of flat a to flat b."""
    along = (b - a) / np.linalg.norm(b - a)
    share = float((c - a) @ along)
    off = float(np.linalg.norm(c - a - share * along))
    way = (flat_b - flat_a) / np.linalg.norm(flat_b - flat_a)
    laid: Floats = flat_a + share * way + off * np.array([way[1], -way[0]])
    return laid
