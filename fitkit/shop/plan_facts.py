"""All that the plans of the materials read off one blank, worked out once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fitkit.flatten.edge_names import edge_treatment
from fitkit.flatten.flat_patch import FlatPatch
from fitkit.flatten.sheet_demand import SheetDemand, sheet_demand
from fitkit.geometry.arrays import Floats
from fitkit.holding.fixing import Fixing
from fitkit.materials.sheet_material import SheetMaterial, sheet_material_named
from fitkit.shop.hole_timing import HoleTiming, hole_timing
from fitkit.shop.plate_shape import PlateShape, plate_shape
from fitkit.shop.seam_bevel import SeamBevel
from fitkit.shop.turned_edge import TurnedEdge, turned_edges
from fitkit.template.blank_edges import BlankEdges, blank_edges, shown_line
from fitkit.template.correction import Correction
from fitkit.template.mirror import mirrored_name
from fitkit.template.rivet_joint import RivetHoles

__all__ = ["PlanFacts", "plan_facts"]

# A place is told by an edge that is nearer than this share of the blank's size.
_BY_EDGE = 0.18
# Degrees from upright that are still called upright.
_UPRIGHT_DEG = 8.0


@dataclass(frozen=True, slots=True, eq=False)
class PlanFacts:
    """One part, ready to be planned.

    Attributes
    ----------
    twin
        Whether it is the mirrored one of a pair: lines are called by their other names, and what
        leans left leans right.
    beside
        ``(kind, line, width)`` of the strips beyond its edges that are not turned.
    bevels
        Where other plates meet its edges.
    fastened
        What straps and fasteners want drilled in it, in words.
    fastened_by
        ``(what, fixing)``: what goes through it there.
    """

    flat: FlatPatch
    blank: BlankEdges
    material: SheetMaterial
    demand: SheetDemand
    shape: PlateShape
    edges: tuple[TurnedEdge, ...]
    holes: tuple[HoleTiming, ...]
    beside: tuple[tuple[str, str, float], ...]
    twin: bool = False
    bevels: tuple[SeamBevel, ...] = ()
    fastened: tuple[str, ...] = ()
    fastened_by: tuple[tuple[str, Fixing], ...] = ()

    @property
    def laps(self) -> tuple[tuple[str, float], ...]:
        """Laps by line and width."""
        return self._strips("lap")

    @property
    def trims(self) -> tuple[tuple[str, float], ...]:
        """What is cut off after forming, by line and width."""
        return self._strips("trim")

    def _strips(self, kind: str) -> tuple[tuple[str, float], ...]:
        return tuple((self.called(line), width) for one, line, width in self.beside if one == kind)

    @property
    def thickness_mm(self) -> float:
        """Of the sheet."""
        return self.flat.design.thickness_mm

    def called(self, line: str) -> str:
        """Return what a line is called on this side."""
        name = shown_line(self.flat.design, line)
        return mirrored_name(name) if self.twin else name

    def place(self, at_mm: Floats) -> str:
        """Return where a place of the blank is, in words."""
        span = float(np.ptp(self.flat.flat_mm, axis=0).max())
        near = [
            (float(np.linalg.norm(edge.points_mm - at_mm, axis=1).min()), edge.line)
            for edge in self.flat.outline
        ]
        distance, line = min(near)
        return f"by '{self.called(line)}'" if distance < _BY_EDGE * span else "amid the blank"

    def axis_words(self) -> str:
        """Return which way the axis of the bend lies, as the template is drawn."""
        axis = self.shape.axis
        if axis is None:
            return "an axis that turns across the blank, as on a cone"
        up = self.flat.up
        right = np.array([up[1], -up[0]])
        lean = float(np.degrees(np.arctan2(axis @ right, axis @ up)))
        lean = (lean + 90.0) % 180.0 - 90.0
        lean = -lean if self.twin else lean
        if abs(lean) <= _UPRIGHT_DEG:
            return "an upright axis"
        if abs(lean) >= 90.0 - _UPRIGHT_DEG:
            return "a level axis"
        return f"an axis leaning {abs(lean):.0f}° to the {'right' if lean > 0 else 'left'}"


def plan_facts(
    flat: FlatPatch,
    *,
    rivets: Sequence[RivetHoles] = (),
    correction: Correction | None = None,
) -> PlanFacts:
    """Return what plans are made from; of a twin with ``twin`` put in its place.

    Parameters
    ----------
    rivets
        Rows of holes in this blank.
    """
    design = flat.design
    blank = blank_edges(flat, correction)
    edges = turned_edges(flat, blank)
    beside = dict.fromkeys(
        (edge_treatment(design, edge.line).kind, edge.line, allowance.width_mm)
        for edge, allowance in zip(blank.edges, blank.allowances, strict=True)
        if allowance.width_mm > 0 and not allowance.turned
    )
    return PlanFacts(
        flat,
        blank,
        sheet_material_named(design.material),
        sheet_demand(flat),
        plate_shape(flat),
        edges,
        tuple(hole_timing(flat, blank, edges, row) for row in rivets),
        tuple(beside),
    )
