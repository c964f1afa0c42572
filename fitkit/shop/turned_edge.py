"""Edges that are folded, wrapped or rolled: what the strip has to give, and when it is turned."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from fitkit.flatten.edge_names import edge_treatment
from fitkit.flatten.flat_patch import FlatPatch
from fitkit.flatten.formed_edges import formed_edges
from fitkit.geometry.arrays import Floats
from fitkit.geometry.nearest import nearest_on_mesh
from fitkit.patch.design import EdgeKind, EdgeTreatment
from fitkit.template.blank_edges import BlankEdges

__all__ = ["TurnedEdge", "order_of_turning", "turned_edges"]

# An edge that bows by less than this, or by less than its sheet is thick, goes into a brake;
# common practice, no source.
_STRAIGHT_MM = 1.0
# Curvature along an edge is taken over this length: a wrinkle of the scan turns nothing.
_REACH_MM = 20.0
_STEP_MM = 2.0
# In this order once the plate is formed: what is low and wide before what stiffens the edge for
# good; common practice, no source.
_ORDER: dict[EdgeKind, int] = {"flange": 0, "hem": 1, "double hem": 2, "bead": 3, "wire": 4}


@dataclass(frozen=True, slots=True)
class TurnedEdge:
    """One edge that is turned.

    Attributes
    ----------
    line, words
        Its tape line, and what is done there.
    treatment
        As asked for.
    length_mm
        On the formed plate.
    width_mm
        Of the strip on the blank.
    fold_mm
        From the edge to the first fold line, outwards.
    inside_radius_mm
        Of its tightest bend.
    stretch, shrink
        How much the strip's rim must lengthen, and shorten, where that is most; fractions.
    on_brake
        Whether it is straight both on the blank and on the plate, so that it can be folded in a
        brake while the sheet is flat.
    """

    line: str
    words: str
    treatment: EdgeTreatment
    length_mm: float
    width_mm: float
    fold_mm: float
    inside_radius_mm: float
    stretch: float
    shrink: float
    on_brake: bool


def turned_edges(flat: FlatPatch, blank: BlankEdges) -> tuple[TurnedEdge, ...]:
    """Return every turned edge of a blank, in order round it."""
    made = []
    design = flat.design
    formed = formed_edges(flat)
    normals = flat.form.vertex_normals()
    for edge, allowance, space in zip(blank.edges, blank.allowances, formed, strict=True):
        if not allowance.turned:
            continue
        treatment = edge_treatment(design, edge.line)
        faces = flat.form.faces[nearest_on_mesh(flat.form, space)[1]]
        outward = normals[faces].mean(axis=1)
        stretch, shrink = _strip_strain(
            treatment, allowance.width_mm, edge.points_mm, space, outward
        )
        straight = max(_STRAIGHT_MM, design.thickness_mm)
        made.append(
            TurnedEdge(
                edge.line,
                allowance.words,
                treatment,
                float(np.linalg.norm(np.diff(space, axis=0), axis=1).sum()),
                allowance.width_mm,
                allowance.folds_mm[0],
                _inside_radius(treatment),
                stretch,
                shrink,
                _bow_mm(edge.points_mm) <= straight and _bow_mm(space) <= straight,
            )
        )
    return tuple(made)


def order_of_turning(edges: tuple[TurnedEdge, ...]) -> tuple[TurnedEdge, ...]:
    """Return edges in the order they are turned once the plate is formed.

    By kind, and within a kind those that must stretch first, since they may still be let back;
    then the longest.
    """
    return tuple(
        sorted(
            edges,
            key=lambda edge: (_ORDER[edge.treatment.kind], -edge.stretch, -edge.length_mm),
        )
    )


def _inside_radius(treatment: EdgeTreatment) -> float:
    match treatment.kind:
        case "flange":
            return treatment.radius_mm
        case "wire" | "bead":
            return 0.5 * treatment.size_mm
        case _:
            return 0.0


def _strip_strain(
    treatment: EdgeTreatment, width_mm: float, flat_mm: Floats, formed_mm: Floats, outward: Floats
) -> tuple[float, float]:
    """Return the most stretch and shrink of the strip's rim along the edge.

    On the blank the rim of a strip ``w`` wide is longer than the edge by ``1 + k w``, ``k`` the
    edge's curvature there, above zero where the blank bulges. A flange's rim ends up square to
    the plate, where the plate's bend along the edge counts, ``1 + b w``; a hem's rim lies on the
    plate behind the edge, ``1 - k w``; a wire's or bead's comes back to the edge itself.
    """
    bow, bend = _edge_curvatures(flat_mm, formed_mm, outward)
    if len(bow) == 0:
        return 0.0, 0.0
    before = np.maximum(1.0 + bow * width_mm, 0.1)
    match treatment.kind:
        case "flange":
            lean = treatment.turned_rad
            after = 1.0 + width_mm * (bow * math.cos(lean) + bend * math.sin(lean))
        case "hem":
            after = 1.0 - bow * width_mm
        case _:
            after = np.ones(len(bow))
    strain = after / before - 1.0
    return float(max(strain.max(), 0.0)), float(max(-strain.min(), 0.0))


def _edge_curvatures(flat_mm: Floats, formed_mm: Floats, outward: Floats) -> tuple[Floats, Floats]:
    """(M,) float 1/mm each: the edge's curvature on the blank, and the plate's bend along it.

    Taken over :data:`_REACH_MM` to either side, so not at the edge's very ends.
    """
    arc = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(flat_mm, axis=0), axis=1))])
    reach = min(_REACH_MM, 0.25 * float(arc[-1]))
    if reach <= 0:
        return np.zeros(0), np.zeros(0)
    at = np.arange(reach, arc[-1] - reach + 1e-9, _STEP_MM)

    def place(points: Floats, arcs: Floats) -> Floats:
        return np.column_stack([np.interp(arcs, arc, points[:, k]) for k in range(points.shape[1])])

    def ways(points: Floats) -> tuple[Floats, Floats, Floats]:
        here, back, on = place(points, at), place(points, at - reach), place(points, at + reach)
        first, second = here - back, on - here
        lengths = [np.linalg.norm(one, axis=1) for one in (first, second)]
        turn = second / lengths[1][:, None] - first / lengths[0][:, None]
        mean: Floats = 0.5 * (lengths[0] + lengths[1])
        return turn, mean, first / lengths[0][:, None]

    turn, length, ahead = ways(flat_mm)
    # The blank lies on the left of its outline: a turn to the left is a bulge.
    bow = (ahead[:, 0] * turn[:, 1] - ahead[:, 1] * turn[:, 0]) / length
    turned, formed_length, _ = ways(formed_mm)
    bend = -np.einsum("nk,nk->n", turned, place(outward, at)) / formed_length
    return bow, bend


def _bow_mm(points: Floats) -> float:
    """Return how far a line departs from the straight between its ends."""
    chord = points[-1] - points[0]
    length = float(np.linalg.norm(chord))
    if length <= 0:
        return float("inf")
    off = points - points[0]
    along = off @ (chord / length)
    return float(np.linalg.norm(off - np.outer(along, chord / length), axis=1).max())
