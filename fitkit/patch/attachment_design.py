"""What stands on a plate: cones, tubes, spikes, fins and domes, as plain values."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

from fitkit.materials.rivet import Rivet, screw_for_hole
from fitkit.patch.design import Anchor

__all__ = ["AttachmentDesign", "AttachmentKind"]

AttachmentKind: TypeAlias = Literal["cone", "tube", "spike", "fin", "dome"]


@dataclass(frozen=True, slots=True)
class AttachmentDesign:
    """A part that stands on a plate's outside.

    Attributes
    ----------
    name
        As written on its template and at its place on the plate.
    on
        The patch it stands on.
    at
        Where its axis meets the form.
    kind
        ``cone`` (pointed, or cut off at ``top_mm``), ``tube`` (round), ``spike`` (square pyramid),
        ``fin`` (a flat blade on edge) or ``dome`` (part of a ball).
    across_mm
        Outside diameter at the seat; a spike's side; a fin's length.
    height_mm
        Along its axis from the seat to its top.
    top_mm
        A cone's outside diameter at its open top, 0 for a point.
    turn_rad
        Turn about its axis, from the wearer's up, counter-clockwise seen from outside: a spike's
        sides, a fin's length.
    lean_rad, toward_rad
        How far the axis leans from square to the plate, and towards what: 0 is up the plate,
        a quarter turn counter-clockwise seen from outside.
    tabs, tab_mm, hole_mm
        Tabs along its foot, each bent out onto the plate with one hole; a dome has a lap of that
        width instead, with that many holes.
    screw_metal
        What the screws through those holes are of; empty for the usual one.
    seam_lap_mm
        Lap along the seam of what is rolled or folded.
    gores
        Petals of a dome.
    """

    name: str
    on: str
    at: Anchor
    kind: AttachmentKind
    across_mm: float
    height_mm: float
    top_mm: float = 0.0
    turn_rad: float = 0.0
    lean_rad: float = 0.0
    toward_rad: float = 0.0
    material: str = "card"
    thickness_mm: float = 0.5
    tabs: int = 6
    tab_mm: float = 12.0
    hole_mm: float = 3.2
    screw_metal: str = ""
    seam_lap_mm: float = 10.0
    gores: int = 8
    note: str = ""

    @property
    def screw(self) -> Rivet:
        """What goes through its tabs' holes; see :func:`screw_for_hole` for what it raises."""
        return screw_for_hole(self.hole_mm, self.screw_metal)
