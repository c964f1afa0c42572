"""The holes of pivots and lames on both plates that they join."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import numpy as np

from fitkit.geometry.arrays import Floats
from fitkit.geometry.nearest import nearest_on_mesh
from fitkit.holding.fixing import Fixing
from fitkit.holding.seat import Seat
from fitkit.holding.worn_sheet import ACROSS, WornSheet
from fitkit.motion.lames import LameFastening
from fitkit.motion.pivot import PlacedPivot, pivot_sizes

__all__ = ["lame_seats", "pivot_seats"]

# What carries a plate lies no farther under it or over it at its pivot.
_CARRIES_MM = 30.0
_RING = 24
# Hole centre to edge, in diameters: as for rivets, AC 43.13-1B.
_LEAST_EDGE = 2.0


def pivot_seats(
    pivot: PlacedPivot, sheets: Sequence[WornSheet], metal: str = ""
) -> tuple[Seat, ...]:
    """Return the holes of a pivot in its plate and through into what carries it.

    Parameters
    ----------
    sheets
        All plates as worn. At each of its two holes the nearest other plate is what carries it;
        where there is none the pivot sits on the wearer's clothing or a strap.
    metal
        What its screws or rivets are of, empty where that is not known.
    """
    own = [sheet for sheet in sheets if sheet.patch == pivot.patch]
    others = [sheet for sheet in sheets if sheet.patch != pivot.patch]
    sizes = pivot_sizes(pivot.screw_mm)
    seats = []
    for sheet in own:
        worn = pivot.holes_mm * ACROSS if sheet.twin else pivot.holes_mm
        on: dict[int, list[Floats]] = {}
        for hole in worn:
            carrier = _nearest(others, hole)
            if carrier is not None:
                on.setdefault(others.index(carrier), []).append(hole)
        fixing = Fixing("", metal, tuple(dict.fromkeys(others[one].material for one in on)))
        seats.append(_pivot(f"pivot at the {pivot.joint}", sheet, worn, sizes, fixing))
        fixing = Fixing("", metal, (sheet.material,))
        for number, holes in on.items():
            what = f"pivot of {pivot.patch}"
            seats.append(_pivot(what, others[number], np.array(holes), sizes, fixing))
    return _merged(seats)


def lame_seats(
    fastening: LameFastening, sheets: Sequence[WornSheet], hole_mm: float, metal: str = ""
) -> tuple[Seat, ...]:
    """Return the holes by which one lame hangs on the next.

    Both have the two pivots; the lower has the sliding rivet's hole, the upper its slot, from the
    centre of one end's hole to that of the other. ``metal`` is what the rivets are of, empty where
    that is not known.
    """
    seats = []
    materials = {sheet.patch: sheet.material for sheet in sheets}
    for patch, other, slides in (
        (fastening.upper, fastening.lower, fastening.slot_ends_mm),
        (fastening.lower, fastening.upper, fastening.slide_mm[None]),
    ):
        sheet = _nearest([one for one in sheets if one.patch == patch], fastening.slide_mm)
        if sheet is None:
            continue
        holes = _on(sheet, np.vstack([fastening.pivots_mm, slides]))
        slotted = len(slides) > 1
        what = (
            f"slot {fastening.slot_mm:.0f} × {hole_mm:g} mm for the sliding rivet"
            if slotted
            else "1 hole for the sliding rivet"
        )
        seats.append(
            Seat(
                f"lame {other}",
                sheet.patch,
                sheet.twin,
                sheet.as_drawn(holes),
                hole_mm,
                _LEAST_EDGE * hole_mm,
                np.zeros((0, 3)),
                f"to '{other}': 2 pivots, {what}, drill {hole_mm:g} mm",
                sheet.as_drawn(holes[2:])[None] if slotted else np.zeros((0, 2, 3)),
                Fixing("", metal, (materials[other],)),
            )
        )
    return tuple(seats)


def _pivot(
    name: str, sheet: WornSheet, holes: Floats, sizes: Mapping[str, float], fixing: Fixing
) -> Seat:
    holes = _on(sheet, holes)
    many = f"{len(holes)} hole{'s' * (len(holes) > 1)}"
    return Seat(
        name,
        sheet.patch,
        sheet.twin,
        sheet.as_drawn(holes),
        sizes["hole_mm"],
        _LEAST_EDGE * sizes["hole_mm"],
        np.zeros((0, 3)),
        f"{name}: {many} {sizes['hole_mm']:g} mm, washer {sizes['washer_mm']:g} mm, recess "
        f"{sizes['recess_mm']:g} mm across",
        fixing=fixing,
    )


def _on(sheet: WornSheet, places: Floats) -> Floats:
    return nearest_on_mesh(sheet.mesh, places)[0]


def _nearest(sheets: Sequence[WornSheet], place: Floats) -> WornSheet | None:
    """Return the sheet nearest to a place that lies over or under it; None where none does."""
    best: tuple[float, WornSheet] | None = None
    for sheet in sheets:
        away = float(nearest_on_mesh(sheet.mesh, place[None])[2][0])
        if away < _CARRIES_MM and (best is None or away < best[0]):
            best = away, sheet
    return None if best is None else best[1]


def _merged(seats: Iterable[Seat]) -> tuple[Seat, ...]:
    """Return seats without those whose holes stand in the same place of the same part."""
    kept: dict[tuple[str, bool, str, bytes], Seat] = {}
    for seat in seats:
        kept.setdefault((seat.patch, seat.twin, seat.name, seat.holes_mm.round(3).tobytes()), seat)
    return tuple(kept.values())
