"""The last look at a nesting: worked out anew from the places alone, by shapely."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence

import numpy as np
import shapely

from fitkit.findings import Finding, Severity
from fitkit.sheets.nesting import LaidSheet, Nesting, NestRules, PlacedPart
from fitkit.sheets.part_to_place import PartToPlace
from fitkit.sheets.stock_sheet import StockSheet

__all__ = ["layout_faults", "sheet_faults"]

# Far below what a scriber marks, far above what rounding makes.
_SLACK_MM = 1e-6
_SLACK_RAD = 1e-6
_REMEDY = "Do not cut from this layout; run fitkit nest again and report it if it comes back."


def layout_faults(
    nesting: Nesting, parts: Sequence[PartToPlace], stock: Sequence[StockSheet]
) -> tuple[Finding, ...]:
    """Return everything that is wrong with a nesting; nothing when it may be cut.

    Every part must be there once, on a sheet of its material that the stock has, within the
    sheet's edge margin, off the bad zones, at its gap from the others, along the grain and not
    mirrored on a sheet with a face.
    """
    faults = [*_counted(nesting, parts), *_sheets_had(nesting, stock)]
    for sheet in nesting.sheets:
        faults += sheet_faults(sheet, nesting.rules)
    return tuple(faults)


def sheet_faults(sheet: LaidSheet, rules: NestRules) -> list[Finding]:
    """Return what is wrong with how parts lie on one sheet."""
    faults = [fault for placed in sheet.placed for fault in _lies_wrong(sheet, placed, rules)]
    return faults + _too_close(sheet, rules.gap_mm)


def _fault(code: str, where: str, message: str, **numbers: float) -> Finding:
    return Finding(code, Severity.STOP, where, message, _REMEDY, **numbers)  # type: ignore[arg-type]


def _counted(nesting: Nesting, parts: Sequence[PartToPlace]) -> list[Finding]:
    told = [one.part for one in nesting.placed()] + list(nesting.left_out)
    found = Counter(part.number for part in told)
    faults = [
        _fault(
            "part-twice", part.title, f"Part {part.number} is laid out {found[part.number]} times."
        )
        for part in parts
        if found[part.number] > 1
    ]
    faults += [
        _fault("part-missing", part.title, f"Part {part.number} is neither laid out nor left out.")
        for part in parts
        if found[part.number] == 0
    ]
    known = {part.number: part for part in parts}
    for part in told:
        as_asked = known.get(part.number)
        if as_asked is None or not np.array_equal(as_asked.outline_mm, part.outline_mm):
            faults.append(_fault("part-unknown", part.title, "Its cut line is not the template's."))
    return faults


def _sheets_had(nesting: Nesting, stock: Sequence[StockSheet]) -> list[Finding]:
    quantity = {row.name: row.quantity for row in stock}
    faults = []
    for (name, copy), count in Counter(
        (one.stock.name, one.copy) for one in nesting.sheets
    ).items():
        had = quantity.get(name, 0)
        if count > 1 or (had is not None and not 1 <= copy <= had):
            faults.append(_fault("sheet-not-there", name, f"The stock has no sheet {copy} of it."))
    return faults


def _lies_wrong(sheet: LaidSheet, placed: PlacedPart, rules: NestRules) -> list[Finding]:
    stock, part, where = sheet.stock, placed.part, f"{placed.part.title} on {sheet.title}"
    polygon = placed.polygon()
    faults = []
    if not stock.serves(part.material, part.thickness_mm):
        faults.append(_fault("wrong-sheet", where, "The sheet is not of the part's material."))
    outside = float(polygon.difference(stock.polygon()).area)
    if outside > _SLACK_MM:
        faults.append(_fault("outside", where, f"{outside:.2f} mm² of it lie outside the sheet."))
    margin = float(polygon.distance(stock.polygon().exterior))
    if margin < rules.margin_mm - _SLACK_MM:
        faults.append(
            _fault(
                "margin",
                where,
                f"It is {margin:.3f} mm from the sheet's edge, not {rules.margin_mm:g}.",
                number=margin,
                limit=rules.margin_mm,
            )
        )
    for zone in stock.bad_zones_mm:
        bad = shapely.Polygon(zone).buffer(0)
        if not _clear(polygon, bad, rules.margin_mm):
            faults.append(_fault("bad-zone", where, "It lies in or too close to a bad zone."))
    if placed.mirrored and not rules.may_mirror(stock):
        faults.append(_fault("mirrored", where, "It lies mirrored where it must not."))
    turns = rules.turns_rad(part, stock, mirrored=placed.mirrored)
    if turns is not None and not placed.pinned:
        off = min(abs(math.remainder(placed.turn_rad - turn, 2.0 * math.pi)) for turn in turns)
        if off > _SLACK_RAD:
            degrees = math.degrees(off)
            faults.append(_fault("turned", where, f"It is turned {degrees:.3f}° off what it may."))
    return faults


def _too_close(sheet: LaidSheet, gap_mm: float) -> list[Finding]:
    polygons = [one.polygon() for one in sheet.placed]
    tree = shapely.STRtree(polygons)
    near = tree.query(polygons, predicate="dwithin", distance=gap_mm + 1.0) if polygons else []
    faults = []
    for a, b in zip(*near, strict=True) if len(near) else ():
        if a < b and not _clear(polygons[a], polygons[b], gap_mm):
            names = " and ".join(sheet.placed[one].part.title for one in (a, b))
            gap = float(polygons[a].distance(polygons[b]))
            faults.append(
                _fault(
                    "gap",
                    f"{names} on {sheet.title}",
                    f"They are {gap:.3f} mm apart, not {gap_mm:g}.",
                    number=gap,
                    limit=gap_mm,
                )
            )
    return faults


def _clear(one: shapely.Geometry, other: shapely.Geometry, gap_mm: float) -> bool:
    apart = float(one.distance(other)) >= gap_mm - _SLACK_MM
    return apart and float(one.intersection(other).area) <= _SLACK_MM
