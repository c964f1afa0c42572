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
        corner = _corner(edges[before].points_mm, widths_mm[before], edge.points_mm, widths_mm[i])
        if corner is not None:
            strips.append(corner)
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
    parts = [
        shapely.Polygon([a, b, b + width * n, a + width * n])
        for a, b, n in zip(points[:-1], points[1:], normals, strict=True)
        if np.any(a != b)
    ]
    for corner, before, after in zip(points[1:-1], normals[:-1], normals[1:], strict=True):
        wedge = _wedge(corner, before, width, after, width)
        if wedge is not None:
            parts.append(wedge)
    return parts


def _corner(
    before: Floats, width_before: float, after: Floats, width_after: float
) -> shapely.Polygon | None:
    if width_before <= 0 or width_after <= 0:
        return None
    return _wedge(
        after[0], _normals(before[-2:])[0], width_before, _normals(after[:2])[0], width_after
    )


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


def _wedge(at: Floats, n1: Floats, w1: float, n2: Floats, w2: float) -> shapely.Polygon | None:
    """Return what fills the gap between two strips where the outline turns left, if it does."""
    turn = float(n1[0] * n2[1] - n1[1] * n2[0])
    straight = float(n1 @ n2)
    if turn <= 0 and straight > -1 + 1e-9:
        return None
    ends = [at, at + w1 * n1, at + w2 * n2]
    if abs(turn) > 1e-6:
        tip = np.linalg.solve(np.array([n1, n2]), np.array([w1, w2]))
        if np.linalg.norm(tip) <= _MITRE_LIMIT * max(w1, w2):
            ends.insert(2, at + tip)
    wedge = shapely.Polygon(ends)
    return wedge if wedge.is_valid and wedge.area > 0 else None


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
