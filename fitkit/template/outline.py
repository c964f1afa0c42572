"""The cut line: the blank's outline with its edge allowances."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from fitkit.findings import Finding, Severity
from fitkit.geometry.arrays import Floats
from fitkit.template.part import NamedLine

__all__ = ["CutOutline", "cut_outline"]

# A corner of an allowance is drawn to its tip up to this many widths away, else cut off square.
_MITRE_LIMIT = 2.0
# An allowance that runs into its own part over more than this share of its area is spoken of.
_LOST_SHARE = 0.05
_GRID_MM = 1e-6


@dataclass(frozen=True, slots=True, eq=False)
class CutOutline:
    """Where to cut. ``points_mm`` (N, 2) float, counter-clockwise."""

    points_mm: Floats
    findings: tuple[Finding, ...] = ()


def cut_outline(
    name: str,
    edges: Sequence[NamedLine],
    widths_mm: Sequence[float],
    turned: Sequence[bool] | None = None,
) -> CutOutline:
    """Return the outline of a blank with a strip of the given width outside each edge.

    Parameters
    ----------
    name
        The part, for findings.
    edges
        The blank's outline in order, counter-clockwise, joining end to end.
    widths_mm
        Per edge the width of its allowance, 0 for none.
    turned
        Per edge whether its allowance is folded or rolled over; False for all when None.

    Notes
    -----
    Strips end square to their edge; where two meet at a corner they are drawn to a common tip, or
    cut off straight where the tip would stand out like a thorn. Strips that are turned over end at
    a mitre instead, so that they do not lie on each other once folded: along a line that, folded
    over, halves the corner.
    """
    turned = turned or [False] * len(edges)
    blank = np.concatenate([edge.points_mm[:-1] for edge in edges])
    if not any(width > 0 for width in widths_mm):
        return CutOutline(blank)
    own = shapely.Polygon(blank)
    if not own.is_valid:
        own = own.buffer(0)
    findings: list[Finding] = []
    strips = []
    for i, (edge, width) in enumerate(zip(edges, widths_mm, strict=True)):
        if width <= 0:
            continue
        strip = shapely.union_all(_strip(edge.points_mm, width))
        if turned[i]:
            following = edges[(i + 1) % len(edges)].points_mm
            strip = shapely.difference(strip, _mitre(edges[i - 1].points_mm, edge.points_mm, width))
            strip = shapely.difference(
                strip, _mitre(following[::-1], edge.points_mm[::-1], width, start=False)
            )
        lost = float(shapely.intersection(strip, own).area) / float(strip.area)
        if lost > _LOST_SHARE:
            findings.append(_lost_finding(name, edge.name, width, lost))
        strips.append(strip)
    for i, edge in enumerate(edges):
        before = i - 1
        if turned[before] or turned[i]:
            continue
        strips += _corner(edges[before].points_mm, widths_mm[before], edge.points_mm, widths_mm[i])
    # A mitred strip's corners are computed ones: without a grid its seam with the blank leaves
    # gaps and spikes of the last digit.
    whole = shapely.union_all([own, *strips], grid_size=_GRID_MM if any(turned) else None)
    pieces = [p for p in shapely.get_parts(whole) if p.geom_type == "Polygon"]
    largest = max(pieces, key=lambda p: float(p.area))
    gaps = sum(shapely.Polygon(ring).area > 1.0 for ring in largest.interiors)
    if gaps > 0:
        findings.append(
            Finding(
                "allowance-closes-gap",
                Severity.WARNING,
                name,
                f"Its allowances close {gaps} gap(s) in the outline.",
                "Make the allowances narrower, or leave one of the edges that face each other "
                "plain.",
            )
        )
    ring = shapely.get_coordinates(shapely.orient_polygons(largest).exterior)[:-1]
    return CutOutline(_without_doubles(ring), tuple(findings))


def _normals(points: Floats) -> Floats:
    """(N - 1, 2): unit normals of a polyline's steps to its right, out of the blank."""
    step = np.diff(points, axis=0)
    length = np.linalg.norm(step, axis=1, keepdims=True)
    step = step / np.where(length > 0, length, 1.0)
    return np.column_stack([step[:, 1], -step[:, 0]])


def _strip(points: Floats, width: float) -> list[shapely.Polygon]:
    """Return the strip as one quadrilateral a step and one wedge an outward turn."""
    normals = _normals(points)
    out = width * normals
    corners = np.stack([points[:-1], points[1:], points[1:] + out, points[:-1] + out], axis=1)
    steps = shapely.polygons(corners[np.any(points[:-1] != points[1:], axis=1)])
    return [*steps, *_wedges(points[1:-1], normals[:-1], width, normals[1:], width)]


def _corner(
    before: Floats, width_before: float, after: Floats, width_after: float
) -> Sequence[shapely.Polygon]:
    if width_before <= 0 or width_after <= 0:
        return []
    ends = _normals(before[-2:]), width_before, _normals(after[:2]), width_after
    return _wedges(after[:1], *ends)


def _mitre(before: Floats, edge: Floats, width: float, *, start: bool = True) -> shapely.Polygon:
    """Return what a turned strip loses at the edge's first corner, empty for nothing.

    ``before`` ends and ``edge`` begins at the corner; for the other end give both reversed.
    """
    into, out = _step(edge[:2]), -_step(before[-2:])
    # The angle inside the blank, between the two edges as they leave the corner.
    turn = float(into[0] * out[1] - into[1] * out[0]) * (1.0 if start else -1.0)
    inside = float(np.arctan2(turn, into @ out)) % (2 * np.pi)
    if inside >= np.pi - 1e-6:
        return shapely.Polygon()
    outward = np.array([into[1], -into[0]]) * (1.0 if start else -1.0)
    back = width / np.tan(max(0.5 * inside, 0.05))
    # Along a bowed edge the strip's far side lies off the line that the corner's own step gives:
    # the mitre goes on well past it, so that no thorn is left standing there.
    corner, beyond, past = edge[0], 3.0 * width, 2.0
    return shapely.Polygon(
        [
            corner,
            corner + past * (width * outward + back * into),
            corner + past * width * outward - beyond * into,
            corner - beyond * into,
        ]
    )


def _step(points: Floats) -> Floats:
    step = points[1] - points[0]
    unit: Floats = step / max(float(np.linalg.norm(step)), 1e-12)
    return unit


def _wedges(at: Floats, n1: Floats, w1: float, n2: Floats, w2: float) -> Sequence[shapely.Polygon]:
    """Return what fills the gaps between two strips at corners where the outline turns left.

    Parameters
    ----------
    at, n1, n2
        (N, 2) float: the corners, mm, and the unit normals of the steps before and after them.
    w1, w2
        Widths of the strips before and after, mm.
    """
    turn = n1[:, 0] * n2[:, 1] - n1[:, 1] * n2[:, 0]
    gaping = (turn > 0.0) | (np.einsum("ni,ni->n", n1, n2) <= -1.0 + 1e-9)
    at, n1, n2, turn = at[gaping], n1[gaping], n2[gaping], turn[gaping]
    sharp = np.abs(turn) > 1e-6
    # The common tip lies on both strips' far sides.
    tip = np.column_stack([w1 * n2[:, 1] - w2 * n1[:, 1], w2 * n1[:, 0] - w1 * n2[:, 0]])
    tip /= np.where(sharp, turn, 1.0)[:, None]
    tipped = sharp & (np.linalg.norm(tip, axis=1) <= _MITRE_LIMIT * max(w1, w2))
    ends = np.stack([at, at + w1 * n1, at + tip, at + w2 * n2], axis=1)
    wedges = [*shapely.polygons(ends[tipped]), *shapely.polygons(ends[~tipped][:, [0, 1, 3]])]
    return [one for one in wedges if one.is_valid and one.area > 0]


def _without_doubles(ring: Floats) -> Floats:
    """Drop points that lie on the one before: left by overlaying edges."""
    gap = np.linalg.norm(ring - np.roll(ring, 1, axis=0), axis=1)
    kept: Floats = ring[gap > 1e-6]
    return kept


def _lost_finding(name: str, line: str, width: float, lost: float) -> Finding:
    return Finding(
        "allowance-hits-part",
        Severity.WARNING,
        name,
        f"The {width:g} mm allowance along '{line}' runs into the part itself over "
        f"{100 * lost:.0f} % of its area and is narrower there.",
        "Make it narrower, or put it on the neighbour's edge instead.",
        number=lost,
        limit=_LOST_SHARE,
    )
