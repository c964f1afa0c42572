"""Small parts cut from what falls out of larger ones."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from fitkit.sheets.nesting import PlacedPart
from fitkit.sheets.open_sheet import OpenSheet
from fitkit.sheets.placing import Placer
from fitkit.sheets.stock_sheet import StockSheet

__all__ = ["carried_along", "guests_in_openings"]


def guests_in_openings(
    placer: Placer, numbers: Sequence[int], stock: StockSheet
) -> dict[int, tuple[PlacedPart, ...]]:
    """Return the parts that lie in openings of others, by the number of the part around them.

    Places are in the coordinates of the part around them. Large parts find their host first; a
    part that is a guest takes no guests.
    """
    rules = replace(placer.rules, margin_mm=placer.rules.gap_mm, mirrored=False)
    inner = replace(placer, rules=rules)
    order = placer.by_area(numbers)
    guests: dict[int, tuple[PlacedPart, ...]] = {}
    taken: set[int] = set()
    for host in order:
        part = placer.parts[host]
        if host in taken or not part.openings_mm:
            continue
        for opening in part.openings_mm:
            room = StockSheet(
                part.name, stock.material, stock.thickness_mm, opening, grain_rad=part.grain_rad
            )
            most = float(room.polygon().area)
            tried = [
                number
                for number in order
                if number not in taken
                and number != host
                and number not in guests
                and placer.parts[number].area_mm2 < most
                and _grain_agrees(placer, number, host, stock)
            ]
            sheet = OpenSheet(room, 1, rules)
            inner.lay(sheet, tried)
            low = np.asarray(opening).min(axis=0)
            found = [replace(one, shift_mm=one.shift_mm + low) for one in sheet.placed.values()]
            if found:
                guests[host] = (*guests.get(host, ()), *found)
                taken |= set(sheet.placed)
    return guests


def carried_along(guest: PlacedPart, host: PlacedPart) -> PlacedPart:
    """Return a guest where its host, not mirrored, carries it on the sheet."""
    shift = host.on_sheet(guest.shift_mm[None, :])[0]
    return replace(guest, shift_mm=shift, turn_rad=guest.turn_rad + host.turn_rad)


def _grain_agrees(placer: Placer, guest: int, host: int, stock: StockSheet) -> bool:
    """Tell whether the guest's grain is right whichever way its host comes to lie."""
    free = placer.parts[guest].grain_rad is None or stock.grain_rad is None
    return free or placer.parts[host].grain_rad is not None
