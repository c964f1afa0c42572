"""Holes that stand nearer to a cut, a bend or one another than the rule."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from fitkit.findings import Finding, Severity
from fitkit.flatten.edge_names import edge_treatment
from fitkit.flatten.flat_patch import FlatPatch
from fitkit.geometry.arrays import Floats
from fitkit.holding.seat import FlatSeat
from fitkit.materials.bend import hole_to_bend_mm
from fitkit.template.blank_edges import BlankEdges
from fitkit.template.rivet_joint import RivetHoles

__all__ = ["hole_findings"]

_SLACK_MM = 0.05


def hole_findings(
    flat: FlatPatch,
    blank: BlankEdges,
    rivets: Sequence[RivetHoles],
    seats: Sequence[FlatSeat] = (),
) -> tuple[Finding, ...]:
    """Return what is wrong with the places of a blank's rivet, mounting and fastening holes.

    A hole's centre keeps its rivet's edge distance from every cut, AC 43.13-1B; from a bend its
    edge keeps 2.5 t + R (sheet-metal design guides); two rivets of different rows stand at least
    3 D apart, as within a row.
    """
    name, thickness = flat.design.name, flat.design.thickness_mm
    rows = [
        (
            row.holes_mm,
            row.drill_mm,
            row.rivet.least_edge_mm,
            row.rivet.pitch_range_mm[0],
            f"for {row.rivet.name} mm {row.rivet.noun}s along '{blank.edges[row.edge].line}'",
        )
        for row in rivets
        if not row.later
    ]
    rows += [
        (
            mount.holes_mm,
            mount.hole_mm,
            2.0 * mount.hole_mm,
            3.0 * mount.hole_mm,
            f"for '{mount.name}'",
        )
        for mount in flat.mounts
        if len(mount.holes_mm)
    ]
    # What is fastened alike to a plate and its twin stands in the same places of both.
    rows += [
        (
            holes,
            drill,
            least_edge,
            3.0 * drill,
            f"for '{name}'",
        )
        for (name, _), (holes, drill, least_edge) in {
            (seat.name, seat.holes_mm.tobytes()): (
                seat.holes_mm,
                seat.hole_mm,
                seat.least_edge_mm,
            )
            for seat in seats
            if len(seat.holes_mm)
        }.items()
    ]
    cut = shapely.LinearRing(blank.outline.points_mm)
    inside = shapely.Polygon(cut)
    radii = [
        edge_treatment(flat.design, edge.line).radius_mm
        for edge, allowance in zip(blank.edges, blank.allowances, strict=True)
        for _ in allowance.folds_mm
    ]
    findings = []
    for index, (holes, drill, least_edge, least_pitch, what) in enumerate(rows):
        points = shapely.points(holes)
        outside = ~shapely.contains(inside, points)
        from_cut = np.where(outside, 0.0, shapely.distance(cut, points))
        findings += _near(name, what, "a cut", from_cut, least_edge)
        for fold, radius in zip(blank.fold_lines(), radii, strict=True):
            room = shapely.distance(shapely.LineString(fold.points_mm), points) - 0.5 * drill
            findings += _near(name, what, "a bend", room, hole_to_bend_mm(radius, thickness))
        for others, _, _, other_pitch, _ in rows[:index]:
            apart = _nearest_apart(holes, others)
            findings += _near(name, what, "other holes", apart, max(least_pitch, other_pitch))
    return tuple(findings)


def _nearest_apart(holes: Floats, others: Floats) -> Floats:
    apart: Floats = np.linalg.norm(holes[:, None] - others[None], axis=2).min(axis=1)
    return apart


def _near(name: str, what: str, to: str, room: Floats, least: float) -> list[Finding]:
    near = room < least - _SLACK_MM
    if not near.any():
        return []
    return [
        Finding(
            "hole-near",
            Severity.WARNING,
            name,
            f"{near.sum()} of its {len(room)} holes {what} stand {room.min():.1f} mm from {to}; "
            f"{least:.1f} mm are wanted.",
            "Move the row or the line, take thinner rivets, or leave that hole out.",
            number=round(float(room.min()), 2),
            limit=least,
            unit="mm",
        )
    ]
