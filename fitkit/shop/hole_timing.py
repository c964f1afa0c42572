"""Whether holes are drilled in the blank or in the formed plate."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from fitkit.flatten.flat_patch import FlatPatch
from fitkit.geometry.arrays import Floats
from fitkit.shop.turned_edge import TurnedEdge
from fitkit.template.blank_edges import BlankEdges
from fitkit.template.rivet_joint import RivetHoles

__all__ = ["HoleTiming", "hole_timing", "least_hole_to_bend_mm"]

# A hole may wander this far in forming and its mate still be met by drilling through; practice.
_SURE_STRAIN = 0.02


@dataclass(frozen=True, slots=True)
class HoleTiming:
    """When a row of holes is drilled, and why.

    Attributes
    ----------
    row
        The holes.
    before
        Whether they are drilled full size in the blank.
    oval_mm
        By how much forming would draw such a hole out of round.
    room_mm
        By how much it may be, from the rivet's smallest to its largest hole.
    to_bend_mm
        The nearest way from a hole's edge to a bend's fold line, infinite without bends.
    least_to_bend_mm
        What it should be at least.
    """

    row: RivetHoles
    before: bool
    oval_mm: float
    room_mm: float
    to_bend_mm: float
    least_to_bend_mm: float

    @property
    def near_bend(self) -> bool:
        """Whether it is a bend that lets the holes wait."""
        return self.to_bend_mm < self.least_to_bend_mm


def least_hole_to_bend_mm(thickness_mm: float, inside_radius_mm: float) -> float:
    """Return the least way from a hole's edge to the bend: ``2.5 t + R`` (design guides)."""
    return 2.5 * thickness_mm + inside_radius_mm


def hole_timing(
    flat: FlatPatch, blank: BlankEdges, bends: tuple[TurnedEdge, ...], row: RivetHoles
) -> HoleTiming:
    """Return when a row's holes are drilled.

    In the blank where forming pulls them out of round by less than the rivet allows, moves them
    little, and no bend is near; else after forming.
    """
    middles = flat.flat_mm[flat.faces].mean(axis=1)
    faces = cKDTree(middles).query(row.holes_mm)[1]
    strain = flat.stretch[faces]
    oval = float((strain[:, 0] - strain[:, 1]).max(initial=0.0)) * row.drill_mm
    room = row.rivet.hole_mm[1] - row.rivet.hole_mm[0]
    moved = float(np.abs(strain - 1.0).max(initial=0.0))
    to_bend, least = _to_bend(blank, bends, row.holes_mm, row.drill_mm, flat.design.thickness_mm)
    before = not row.later and oval <= room and moved <= _SURE_STRAIN and to_bend >= least
    return HoleTiming(row, before, oval, room, to_bend, least)


def _to_bend(
    blank: BlankEdges,
    bends: tuple[TurnedEdge, ...],
    holes_mm: Floats,
    drill_mm: float,
    thickness_mm: float,
) -> tuple[float, float]:
    folds = blank.fold_lines()
    if not folds or not bends:
        return float("inf"), 0.0
    points = np.concatenate([fold.points_mm for fold in folds])
    near = float(cKDTree(points).query(holes_mm)[0].min())
    radius = max(edge.inside_radius_mm for edge in bends)
    return near - 0.5 * drill_mm, least_hole_to_bend_mm(thickness_mm, radius)
