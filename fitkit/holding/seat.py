"""What is to be drilled and marked on a plate for what holds it, on the form and on the blank."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from fitkit.flatten.flat_patch import FlatPatch
from fitkit.flatten.form_to_flat import on_flat
from fitkit.geometry.arrays import Floats, frozen_floats
from fitkit.geometry.nearest import nearest_on_mesh
from fitkit.holding.fixing import Fixing
from fitkit.holding.worn_sheet import ACROSS

__all__ = ["FlatSeat", "Seat", "laid_seat"]


@dataclass(frozen=True, slots=True, eq=False)
class Seat:
    """A fastening on a plate.

    Attributes
    ----------
    name
        What is fastened there, as written on the plate.
    patch, twin
        Which plate: the patch as drawn, or its mirrored twin.
    holes_mm
        (M, 3) float mm: where to drill, as it lies on the patch as drawn, a twin's too.
    hole_mm
        Diameter.
    least_edge_mm
        From a hole's centre to the plate's edge, at least.
    outline_mm
        (N, 3) float mm, likewise: the closed line that it covers; empty for none.
    words
        For the plate's facts: ``"2 blind rivets 4 × 8 for 'side strap': drill 4.1 mm"``.
    slots_mm
        (S, 2, 3) float mm, likewise: between which holes a slot is cut.
    fixing
        What goes through the plate there.
    """

    name: str
    patch: str
    twin: bool
    holes_mm: Floats
    hole_mm: float
    least_edge_mm: float
    outline_mm: Floats
    words: str
    slots_mm: Floats = field(default_factory=lambda: np.zeros((0, 2, 3)))
    fixing: Fixing = field(default_factory=Fixing)

    def __post_init__(self) -> None:
        for name in ("holes_mm", "outline_mm"):
            points = np.reshape(getattr(self, name), (-1, 3))
            object.__setattr__(self, name, frozen_floats(points, (None, 3), name))
        slots = np.reshape(self.slots_mm, (-1, 2, 3))
        object.__setattr__(self, "slots_mm", frozen_floats(slots, (None, 2, 3), "slots_mm"))

    def on_other_side(self, *, paired: bool) -> Seat:
        """Return the seat of the same thing on the wearer's other side.

        On a plate made in a pair it lies on the twin, in the same place of the patch as drawn; on
        one in the middle it lies across.
        """
        if paired:
            return replace(self, twin=not self.twin)
        return replace(
            self,
            holes_mm=self.holes_mm * ACROSS,
            outline_mm=(self.outline_mm * ACROSS)[::-1],
            slots_mm=self.slots_mm * ACROSS,
        )


@dataclass(frozen=True, slots=True, eq=False)
class FlatSeat:
    """A fastening on a blank: as :class:`Seat`, its places on the flat."""

    name: str
    holes_mm: Floats
    hole_mm: float
    least_edge_mm: float
    outline_mm: Floats
    words: str
    slots_mm: Floats = field(default_factory=lambda: np.zeros((0, 2, 2)))
    fixing: Fixing = field(default_factory=Fixing)

    def __post_init__(self) -> None:
        for name in ("holes_mm", "outline_mm"):
            points = np.reshape(getattr(self, name), (-1, 2))
            object.__setattr__(self, name, frozen_floats(points, (None, 2), name))
        slots = np.reshape(self.slots_mm, (-1, 2, 2))
        object.__setattr__(self, "slots_mm", frozen_floats(slots, (None, 2, 2), "slots_mm"))


def laid_seat(flat: FlatPatch, seat: Seat) -> FlatSeat:
    """Return a fastening where its places come to lie on a blank."""
    points = np.vstack([seat.holes_mm, seat.outline_mm, seat.slots_mm.reshape(-1, 3)])
    on_form, faces, _ = nearest_on_mesh(flat.form, points)
    laid = on_flat(flat.form, flat.flat_mm, on_form, faces)
    holes, outline, slots = np.split(laid, np.cumsum([len(seat.holes_mm), len(seat.outline_mm)]))
    return FlatSeat(
        seat.name,
        holes,
        seat.hole_mm,
        seat.least_edge_mm,
        outline,
        seat.words,
        slots,
        seat.fixing,
    )
