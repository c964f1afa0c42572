"""Moving a part on its sheet by hand: where it was let go it is pinned."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from fitkit.errors import InputError
from fitkit.workflow.step_report import StepReport

if TYPE_CHECKING:
    from fitkit.job.stock_settings import PinnedSection
    from fitkit.sheets.nesting import LaidSheet, Nesting, PlacedPart

__all__ = ["layout_as_pinned", "move_part"]


def layout_as_pinned(folder: Path | str) -> Nesting:
    """Return the layout a job has, parts that were pinned on their sheet since moved there.

    Raises
    ------
    JobError
        When it has none yet.
    """
    from fitkit.job.job_folder import open_job
    from fitkit.workflow.nest_job import read_layout

    layout = read_layout(folder)
    pins = {row.part: row for row in open_job(folder).settings.pinned}
    sheets = tuple(
        replace(sheet, placed=tuple(_at_its_pin(sheet, one, pins) for one in sheet.placed))
        for sheet in layout.sheets
    )
    return replace(layout, sheets=sheets)


def _at_its_pin(
    sheet: LaidSheet, placed: PlacedPart, pins: Mapping[str, PinnedSection]
) -> PlacedPart:
    import numpy as np

    pin = pins.get(placed.part.title)
    if pin is None or (pin.sheet, pin.copy_number) != (sheet.stock.name, sheet.copy):
        return replace(placed, pinned=False)
    return replace(
        placed,
        shift_mm=np.array(pin.at_mm),
        turn_rad=math.radians(pin.turn_deg),
        mirrored=pin.mirrored,
        pinned=True,
    )


def move_part(
    folder: Path | str,
    part: str,
    *,
    by_mm: tuple[float, float] = (0.0, 0.0),
    turn_deg: float = 0.0,
    kept_on: bool = False,
) -> StepReport:
    """Move a part on the sheet it lies on, turn it about its middle, and pin it there.

    With ``kept_on`` it goes no further than the sheet's own length and width let it, as when a
    hand pushes it against the edge.

    Raises
    ------
    InputError
        When there is no such part on a sheet, or it would not lie well: off the sheet, on a bad
        zone, or nearer to a part than the gap.
    """
    import numpy as np
    import shapely

    from fitkit.sheets.nesting import PlacedPart
    from fitkit.workflow.nest_job import pin_part

    layout = layout_as_pinned(folder)
    found = next(
        (
            (sheet, placed)
            for sheet in layout.sheets
            for placed in sheet.placed
            if placed.part.title == part
        ),
        None,
    )
    if found is None:
        raise InputError(f"There is no part '{part}' on the sheets.", "Lay them out first.")
    sheet, placed = found
    centre = shapely.get_coordinates(placed.polygon().centroid)[0]
    turn = math.radians(turn_deg)
    c, s = math.cos(turn), math.sin(turn)
    shift = np.array([[c, -s], [s, c]]) @ (placed.shift_mm - centre) + centre + np.array(by_mm)
    moved = PlacedPart(placed.part, shift, placed.turn_rad + turn, placed.mirrored, pinned=True)
    rules = layout.rules
    if kept_on:
        low, high = moved.outline_mm().min(axis=0), moved.outline_mm().max(axis=0)
        over = np.maximum(rules.margin_mm - low, 0.0)
        over -= np.maximum(high - (np.array(sheet.stock.size_mm) - rules.margin_mm), 0.0)
        shift = shift + over
        moved = replace(moved, shift_mm=shift)
    area = moved.polygon()
    if not sheet.stock.good_area().buffer(-rules.margin_mm + 1e-6).contains(area):
        raise InputError(
            f"There '{part}' would lie over the edge of the sheet, or on a bad place.",
            f"Keep it {rules.margin_mm:g} mm inside.",
        )
    for other in sheet.placed:
        gap = other.polygon().distance(area)
        if other is not placed and gap < rules.gap_mm - 1e-6:
            raise InputError(
                f"There '{part}' would lie {gap:.1f} mm from '{other.part.title}'.",
                f"Keep {rules.gap_mm:g} mm between them, or move that one first.",
            )
    return pin_part(
        folder,
        part,
        sheet=sheet.stock.name,
        copy=sheet.copy,
        at_mm=(float(shift[0]), float(shift[1])),
        turn_deg=math.degrees(moved.turn_rad),
        mirrored=moved.mirrored,
    )
