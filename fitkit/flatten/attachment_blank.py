"""The development of what stands on a plate, its edge trimmed to the plate's outside."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from fitkit.errors import DesignError
from fitkit.findings import Finding
from fitkit.flatten.attachment_seat import (
    Foot,
    PlateSeat,
    Seat,
    foot_of_lines,
    holes_beside,
    plate_outside,
    seat_of,
    tab_middles,
)
from fitkit.flatten.dome import trimmed_dome
from fitkit.flatten.flat_patch import FlatCut, FlatLine
from fitkit.flatten.flatten_patch import flatten_patch
from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh
from fitkit.patch.attachment_design import AttachmentDesign
from fitkit.patch.design import PatchDesign, PointAnchor
from fitkit.patch.patch import Patch, PatchEdge

__all__ = ["AttachmentBlank", "Tab", "attachment_blank"]

# Rulings round a cone, tube or spike: on 60 mm across every 0.5 mm.
_RULINGS = 360
_FIN_LINES = 201
_PETAL_TAB_SHARE = 0.5
# What flattening says of a patch on the wearer and is nothing to a dome.
_NOT_A_DOMES = ("up-not-plain", "line-length")


@dataclass(frozen=True, slots=True, eq=False)
class Tab:
    """A tab beyond the foot: (4, 2) float mm, its first two corners on the foot; its hole."""

    corners_mm: Floats
    hole_at_mm: Floats


@dataclass(frozen=True, slots=True, eq=False)
class AttachmentBlank:
    """A developed attachment, seen from its outside.

    Attributes
    ----------
    design
        What the maker asked for.
    edges
        Its outline, counter-clockwise, joining end to end and closing, without tabs and laps:
        ``foot`` (trimmed to the plate), ``top``, ``seam`` or the sides of a dome's petals.
    lapped
        Number of the edge that the seam's lap goes beyond, if any.
    bends_mm
        Lines (2, 2) along which it is folded.
    tabs
        Along the foot.
    up_mm, up_inward
        (2,) float mm: where the mark on the plate meets the foot; (2,) unit, into the blank.
    stop_holes
        Cuts that end in a hole.
    stretch_range
        Smallest and largest principal stretch from flat to formed.
    findings
        What was noticed.
    """

    design: AttachmentDesign
    edges: tuple[FlatLine, ...]
    lapped: int | None
    bends_mm: tuple[Floats, ...]
    tabs: tuple[Tab, ...]
    up_mm: Floats
    up_inward: Floats
    stop_holes: tuple[FlatCut, ...] = ()
    stretch_range: tuple[float, float] = (1.0, 1.0)
    findings: tuple[Finding, ...] = ()


def attachment_blank(
    design: AttachmentDesign, form: TriangleMesh, at_mm: Floats, plate_thickness_mm: float
) -> tuple[AttachmentBlank, PlateSeat]:
    """Return the blank of an attachment and what it asks of its plate.

    Parameters
    ----------
    form
        The patch on which it stands: the middle of the plate's sheet.
    at_mm
        (3,) float mm: where its axis meets the form.

    Raises
    ------
    DesignError
        When it does not stand on the plate all round.

    Notes
    -----
    Sizes are outside measures; what is rolled or folded is developed along the middle of its
    sheet. Every ruling is cut where it meets the plate, so the trimmed edge is as true as the
    form's triangles are (a chord of 4 mm on a radius of 60 mm leaves 0.03 mm).
    """
    outside = plate_outside(form, plate_thickness_mm)
    seat = seat_of(design, outside, at_mm)
    if design.kind == "fin":
        return _fin(design, outside, seat)
    if design.kind == "dome":
        return _dome(design, outside, seat)
    return _ruled(design, outside, seat)


def _ruled(
    design: AttachmentDesign, outside: TriangleMesh, seat: Seat
) -> tuple[AttachmentBlank, PlateSeat]:
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
    up = _nearest_direction(foot.points_mm[:-1] - seat.at_mm, seat)
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


def _nearest_direction(ways: Floats, seat: Seat) -> int:
    square = ways - (ways @ seat.axis)[:, None] * seat.axis
    unit = square / np.maximum(np.linalg.norm(square, axis=1, keepdims=True), 1e-300)
    return int(np.argmax(np.round(unit @ seat.up, 9)))


def tab_along(foot: Floats, arc: Floats, middle: float, width: float, reach: float) -> Tab:
    def place(at: float) -> Floats:
        return np.array([np.interp(at, arc, foot[:, k]) for k in range(2)])

    a, b = place(middle - 0.5 * width), place(middle + 0.5 * width)
    along = (b - a) / np.linalg.norm(b - a)
    out = np.array([along[1], -along[0]])
    narrower = 0.12 * width * along
    corners = np.stack([a, b, b + reach * out - narrower, a + reach * out + narrower])
    return Tab(corners, place(middle) + 0.5 * reach * out)


def _fin(
    design: AttachmentDesign, outside: TriangleMesh, seat: Seat
) -> tuple[AttachmentBlank, PlateSeat]:
    """Return a blade on edge: its back rises in a curve to the tip, its front falls straight."""
    along = np.linspace(-0.5, 0.5, _FIN_LINES) * design.across_mm
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


def _dome(
    design: AttachmentDesign, outside: TriangleMesh, seat: Seat
) -> tuple[AttachmentBlank, PlateSeat]:
    """Return part of a ball as petals joined at its pole, one tab to each."""
    dome = trimmed_dome(design, outside, seat)
    material = PatchDesign(
        design.name,
        ("foot",),
        PointAnchor(*map(float, seat.at_mm)),
        material=design.material,
        thickness_mm=design.thickness_mm,
    )
    rim = np.append(dome.rim, dome.rim[0])
    patch = Patch(material, dome.mesh, ((PatchEdge("foot", rim),),))
    flat = flatten_patch(patch, cuts=dome.cuts)
    feet = [edge for edge in flat.outline if edge.line == "foot"]
    tabs = []
    holes = []
    foot = Foot(dome.mesh.vertices[rim], dome.rim_normals[np.append(np.arange(len(dome.rim)), 0)])
    formed = np.concatenate(
        [[0.0], np.cumsum(np.linalg.norm(np.diff(foot.points_mm, axis=0), axis=1))]
    )
    on_form = cKDTree(flat.flat_mm)
    for edge in feet:
        arc = np.concatenate(
            [[0.0], np.cumsum(np.linalg.norm(np.diff(edge.points_mm, axis=0), axis=1))]
        )
        width = min(_PETAL_TAB_SHARE * float(arc[-1]), 2.0 * design.tab_mm)
        tabs.append(tab_along(edge.points_mm, arc, 0.5 * float(arc[-1]), width, design.tab_mm))
        middle = int(np.argmin(np.abs(arc - 0.5 * arc[-1])))
        there = flat.form.vertices[int(on_form.query(edge.points_mm[middle])[1])]
        holes.append(float(formed[int(np.argmin(np.linalg.norm(foot.points_mm - there, axis=1)))]))
    up = _nearest_direction(foot.points_mm[:-1] - seat.at_mm, seat)
    at = int(np.argmin(np.linalg.norm(flat.form.vertices - foot.points_mm[up], axis=1)))
    inward = flat.flat_mm.mean(axis=0) - flat.flat_mm[at]
    blank = AttachmentBlank(
        design,
        tuple(FlatLine(edge.line, edge.points_mm) for edge in flat.outline),
        None,
        (),
        tuple(tabs),
        flat.flat_mm[at],
        inward / np.linalg.norm(inward),
        flat.cuts,
        (float(flat.stretch.min()), float(flat.stretch.max())),
        tuple(f for f in flat.findings if f.code not in _NOT_A_DOMES),
    )
    away = np.full(len(holes), 0.5 * design.tab_mm)
    mounts = holes_beside(outside, foot, formed, np.array(holes), away, True)
    return blank, PlateSeat(
        design.name, foot.points_mm[:-1], mounts, design.hole_mm, foot.points_mm[up]
    )
