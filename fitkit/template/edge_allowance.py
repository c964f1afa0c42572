"""What an edge treatment adds to the blank, by handbook rule, and where the sheet folds."""

from __future__ import annotations

import math
from dataclasses import dataclass

from fitkit.materials.bend import (
    ALUMINIUM_K,
    bend_allowance_mm,
    hem_allowance_mm,
    rolled_edge_allowance_mm,
    setback_mm,
    wired_edge_allowance_mm,
)
from fitkit.materials.rivet import rivet_named
from fitkit.patch.design import EdgeTreatment

__all__ = ["EdgeAllowance", "edge_allowance"]


@dataclass(frozen=True, slots=True)
class EdgeAllowance:
    """The strip beyond a plate's own edge.

    Attributes
    ----------
    width_mm
        How far the cut line lies beyond the edge; less than nothing for none.
    folds_mm
        Where fold lines run, outwards from the edge; a fold inside the plate is negative.
    turned
        Whether the strip is folded or rolled, so that its ends are mitred.
    words
        For the maker, empty for a plain edge.
    """

    width_mm: float = 0.0
    folds_mm: tuple[float, ...] = ()
    turned: bool = False
    words: str = ""


def edge_allowance(
    treatment: EdgeTreatment, thickness_mm: float, bend_k: float = ALUMINIUM_K
) -> EdgeAllowance:
    """Return what a treatment adds to a sheet of that thickness.

    ``bend_k`` is where the neutral line of a bend lies in the thickness.

    The plate's own edge is where the finished edge shall be: the middle of a wire or bead stands
    on it, a hem's fold runs along it, and a flange's outside corner lies on it.

    Raises
    ------
    InputError
        When it names a rivet that the table does not have.
    """
    size = treatment.size_mm
    match treatment.kind:
        case "plain":
            return EdgeAllowance()
        case "lap":
            if size <= 0 and treatment.rivets is not None:
                size = rivet_named(treatment.rivets.rivet).lap_mm
            return EdgeAllowance(size, (), False, f"lap {size:g} mm")
        case "wire":
            width = wired_edge_allowance_mm(size, thickness_mm)
            return EdgeAllowance(width, (0.0,), True, f"wrap round {size:g} mm wire")
        case "bead":
            width = rolled_edge_allowance_mm(size, thickness_mm)
            return EdgeAllowance(width, (0.0,), True, f"roll to a {size:g} mm bead")
        case "hem":
            width = hem_allowance_mm(size)
            return EdgeAllowance(width, (0.0,), True, f"hem {size:g} mm")
        case "double hem":
            width = hem_allowance_mm(size, double=True)
            return EdgeAllowance(width, (0.0, size), True, f"double hem {size:g} mm")
        case "flange":
            return _flange(treatment, thickness_mm, bend_k)
        case "trim":
            return EdgeAllowance(size, (), False, f"trim {size:g} mm off after forming")


def _flange(treatment: EdgeTreatment, thickness_mm: float, bend_k: float) -> EdgeAllowance:
    """Return a flange's strip: height less the bend deduction beyond the outside corner.

    The fold line is the middle of the bend: the setback back from the corner, then half the bend
    allowance on.
    """
    turned, radius = treatment.turned_rad, treatment.radius_mm
    setback = setback_mm(turned, radius, thickness_mm)
    allowance = bend_allowance_mm(turned, radius, thickness_mm, bend_k)
    return EdgeAllowance(
        treatment.size_mm - (2.0 * setback - allowance),
        (0.5 * allowance - setback,),
        True,
        f"flange {treatment.size_mm:g} mm, {math.degrees(turned):.0f}°, inside R {radius:g} mm",
    )
