"""It does not fit: by how much, what is left, and what would do."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import shapely

from fitkit.findings import Finding, Severity
from fitkit.sheets.kept_places import PinnedPlace
from fitkit.sheets.nest_parts import nest_parts
from fitkit.sheets.nesting import Nesting, NestRules
from fitkit.sheets.open_sheet import OpenSheet
from fitkit.sheets.part_to_place import PartToPlace
from fitkit.sheets.placing import Placer
from fitkit.sheets.search_watch import SearchWatch
from fitkit.sheets.sheet_supply import usual_sheets
from fitkit.sheets.stock_sheet import StockSheet

__all__ = ["shortfall_findings"]

# Gaps and margins that are tried in place of the one asked for, as shares of it.
_LESS = (0.67, 0.33, 0.0)
_NAMES = 6
_MOST_MORE = 20


def shortfall_findings(
    nesting: Nesting,
    stock: Sequence[StockSheet],
    *,
    watch: SearchWatch,
    pinned: Sequence[PinnedPlace] = (),
    how_to_divide: Mapping[str, str] | None = None,
) -> tuple[Finding, ...]:
    """Return, for each material with parts left out, what is short and what would do.

    Remedies are tried, not reckoned: a thinner gap is told only where a layout with it was found,
    more sheets only as many as the parts were laid on.

    Parameters
    ----------
    watch
        The time for trying.
    how_to_divide
        The command that divides a part, by its name; straps and pads have none.
    """
    groups: dict[tuple[str, float], list[PartToPlace]] = {}
    for part in nesting.left_out:
        groups.setdefault((part.material, part.thickness_mm), []).append(part)
    findings: list[Finding] = []
    for (material, thickness), parts in groups.items():
        placer = Placer.of_parts(parts, nesting.rules)
        serving = [row for row in stock if row.serves(material, thickness)]
        fitting = {number for row in serving for number in placer.fitting(placer.parts, row)}
        large = [part for part in parts if part.number not in fitting]
        findings += [_too_large(part, serving, placer, how_to_divide or {}) for part in large]
        rest = [part for part in parts if part not in large]
        if rest:
            findings.append(_short(nesting, rest, stock, serving, placer, watch, pinned))
    return tuple(findings)


def _too_large(
    part: PartToPlace,
    serving: Sequence[StockSheet],
    placer: Placer,
    how_to_divide: Mapping[str, str],
) -> Finding:
    margin = placer.rules.margin_mm
    edge = f" with {margin:g} mm to every edge" if margin else ""
    largest = max(serving, key=lambda row: float(row.polygon().area))
    over_all = "" if largest.is_rectangle else " over all, but no whole rectangle"
    told = f"the largest, '{largest.name}', is {_size_words(*largest.size_mm)}{over_all}"
    usual = [
        row
        for row in usual_sheets(part.material, part.thickness_mm)
        if placer.fitting([part.number], row)
    ]
    ways = []
    across = _held_without_grain(part, serving, placer.rules)
    if across is not None:
        edge += f"{' and' if edge else ' with'} its grain along the sheet's"
        told = f"any way round '{across.name}', {_size_words(*across.size_mm)}, would hold it"
        ways.append("let it lie any way, without a grain")
    narrower = _narrower_margin(part, serving, placer.rules)
    if narrower is not None:
        ways.append(f"an edge margin of {narrower:g} mm would do")
    if usual:
        smallest = min(usual, key=lambda row: float(row.polygon().area))
        ways.append(f"a sheet of {_size_words(*smallest.size_mm)} would do")
    if part.name in how_to_divide:
        ways.append(f"divide it with: {how_to_divide[part.name]}")
    remedy = "; or ".join(ways) or "make it in pieces, or shorter"
    if not usual:
        remedy = f"no usual sheet holds it: {remedy}"
    return Finding(
        "part-too-large",
        Severity.STOP,
        part.title,
        f"Its blank is {_size_words(*_narrowest(part))}, and no sheet in the stock holds it{edge}; "
        f"{told}.",
        f"{remedy[:1].upper()}{remedy[1:]}.",
    )


def _held_without_grain(
    part: PartToPlace, serving: Sequence[StockSheet], rules: NestRules
) -> StockSheet | None:
    """Return a sheet that would hold the part if its grain did not matter; None without one."""
    if part.grain_rad is None:
        return None
    free = Placer.of_parts([replace(part, grain_rad=None)], rules)
    return next((row for row in serving if free.fitting([part.number], row)), None)


def _narrower_margin(
    part: PartToPlace, serving: Sequence[StockSheet], rules: NestRules
) -> float | None:
    """Return the widest margin tried with which a sheet holds the part; None without one."""
    for share in _LESS:
        margin = float(round(share * rules.margin_mm))
        if margin >= rules.margin_mm:
            continue
        placer = Placer.of_parts([part], replace(rules, margin_mm=margin))
        if any(placer.fitting([part.number], row) for row in serving):
            return margin
    return None


def _short(
    nesting: Nesting,
    rest: Sequence[PartToPlace],
    stock: Sequence[StockSheet],
    serving: Sequence[StockSheet],
    placer: Placer,
    watch: SearchWatch,
    pinned: Sequence[PinnedPlace],
) -> Finding:
    area_m2 = sum(part.area_mm2 for part in rest) / 1e6
    titles = [part.title for part in rest[:_NAMES]]
    if len(rest) > _NAMES:
        titles.append(f"{len(rest) - _NAMES} more")
    ways = []
    gap = _thinner_gap(nesting, rest, stock, watch, pinned)
    if gap is not None:
        ways.append(f"a thinner gap of {gap:g} mm would do")
    more = _more_sheets(rest, serving, placer)
    if more is not None:
        ways.append(more)
    remedy = "; or ".join(ways) or "more stock, or a thinner gap"
    count = "this part is" if len(rest) == 1 else f"these {len(rest)} parts are"
    return Finding(
        "does-not-fit",
        Severity.STOP,
        f"{rest[0].material} {rest[0].thickness_mm:g} mm",
        f"It does not fit: short by {_area_words(area_m2)}; {count} left: {', '.join(titles)}.",
        f"{remedy[:1].upper()}{remedy[1:]}.",
        number=area_m2,
        limit=0.0,
        unit="m²",
    )


def _thinner_gap(
    nesting: Nesting,
    rest: Sequence[PartToPlace],
    stock: Sequence[StockSheet],
    watch: SearchWatch,
    pinned: Sequence[PinnedPlace],
) -> float | None:
    """Return the widest gap tried with which all parts of the material were laid out."""
    asked = nesting.rules.gap_mm
    serving = {row.name for row in stock if row.serves(rest[0].material, rest[0].thickness_mm)}
    sheets = tuple(sheet for sheet in nesting.sheets if sheet.stock.name in serving)
    parts = [one.part for sheet in sheets for one in sheet.placed] + list(rest)
    on_them = {part.title for part in parts}
    for index, share in enumerate(_LESS):
        gap = round(share * asked)
        if gap >= asked:
            continue
        rules = replace(nesting.rules, gap_mm=float(gap))
        tried = nest_parts(
            parts,
            [row for row in stock if row.name in serving],
            rules,
            watch=watch.part(watch.left() / (len(_LESS) - index + 1)),
            start=Nesting(rules, sheets),
            pinned=[pin for pin in pinned if pin.title in on_them],
        )
        if not tried.nesting.left_out:
            return float(gap)
        if watch.stopped():
            return None
    return None


def _more_sheets(
    rest: Sequence[PartToPlace],
    serving: Sequence[StockSheet],
    placer: Placer,
) -> str | None:
    """Return in words how many more sheets of which size hold the parts, least area first."""
    sizes = {row.size_mm: row for row in serving if row.is_rectangle}
    for row in usual_sheets(rest[0].material, rest[0].thickness_mm):
        sizes.setdefault(row.size_mm, row)
    best: tuple[float, int, StockSheet] | None = None
    for row in sizes.values():
        left = placer.by_area(part.number for part in rest)
        count = 0
        while left and count < _MOST_MORE:
            before = len(left)
            _, left = placer.lay_first(OpenSheet(row, count + 1, placer.rules), left)
            if len(left) == before:
                break
            count += 1
        area = count * float(row.polygon().area)
        if not left and (best is None or area < best[0]):
            best = area, count, row
    if best is None:
        return None
    _, count, row = best
    return f"{'one' if count == 1 else count} more sheet{'s' * (count > 1)} of " + (
        _size_words(*row.size_mm)
    )


def _narrowest(part: PartToPlace) -> tuple[float, float]:
    corners = shapely.get_coordinates(shapely.minimum_rotated_rectangle(part.polygon()))
    sides = np.hypot(*np.diff(corners[:3], axis=0).T)
    return float(sides.max()), float(sides.min())


def _area_words(area_m2: float) -> str:
    return f"{area_m2:.2f} m²" if area_m2 >= 0.01 else f"{1e4 * area_m2:.0f} cm²"


def _size_words(length_mm: float, width_mm: float) -> str:
    return f"{length_mm:.0f} × {width_mm:.0f} mm"
