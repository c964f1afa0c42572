"""Parts laid over as many pages as it takes, true to scale, with a page map in front."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from fitkit.drawing.drawing import Drawing, merge_drawings
from fitkit.drawing.map_items import map_of_page, map_of_tiles, names_of, numbered
from fitkit.drawing.page import Page, PageSet, PageWindow
from fitkit.drawing.page_furniture import (
    CUT_INSET_MM,
    Neighbours,
    PageFrame,
    check_square,
    foot_line,
    join_lines,
    place_for_check_square,
)
from fitkit.drawing.page_map import MapEntry, MapItem, draw_map_page, plan_map
from fitkit.drawing.paper import Paper
from fitkit.drawing.part_content import PartContent, extent_mm
from fitkit.drawing.planned_sheet import PlannedSheet
from fitkit.drawing.roll import cut_off, map_frame
from fitkit.drawing.small_parts import with_small_parts
from fitkit.drawing.tile_grid import TileGrid, cover_with_tiles, tile_name
from fitkit.errors import DesignError, InputError
from fitkit.geometry.arrays import Floats

__all__ = ["tile_drawings"]

# A line along a part's border is drawn half outside its bounds.
_RIM_MM = 1.0
_MIN_OVERLAP_MM = 2.0 * CUT_INSET_MM


def tile_drawings(
    parts: Sequence[Drawing],
    *,
    paper: Paper,
    margin_mm: float = 10.0,
    overlap_mm: float = 10.0,
    title: str,
    numbers: Sequence[int] | None = None,
) -> PageSet:
    """Lay parts over pages, true to scale.

    Parts that fit a page share pages; larger ones are tiled, turned by a quarter where that
    saves pages. Where that saves pages too, small parts stand in room that tiles leave. Page one
    (and more where the list is long) carries the page map.

    Parameters
    ----------
    parts
        Drawings in millimetres, named as the maker calls them.
    paper
        The paper, upright. Pages of a roll are as long as they need to be.
    margin_mm
        Kept blank at every edge but for words that may be lost; office printers lose up to
        6.4 mm (common practice, no source).
    overlap_mm
        What two neighbouring tiles both show.
    title
        Name of the job.
    numbers
        Part numbers; 1, 2, 3... when not given.

    Raises
    ------
    InputError
        When there is no part, or not one number for each.
    DesignError
        When paper, margin and overlap leave no room.
    """
    if not parts:
        raise InputError("There is no part to print.", "Make a template first.")
    numbers = tuple(range(1, len(parts) + 1)) if numbers is None else tuple(numbers)
    if len(numbers) != len(parts):
        raise InputError(
            f"There are {len(parts)} parts but {len(numbers)} part numbers.",
            "Give one number for each part.",
        )
    names = [_name_alone(part.name, n) for part, n in zip(parts, numbers, strict=True)]
    frame = PageFrame(paper, margin_mm)
    if not _MIN_OVERLAP_MM <= overlap_mm <= min(frame.width_mm, frame.height_mm) / 3.0:
        raise DesignError(
            f"An overlap of {overlap_mm:g} mm does not suit {paper.name}.",
            f"Choose {_MIN_OVERLAP_MM:g} mm to {min(frame.width_mm, frame.height_mm) / 3:.0f} mm.",
        )
    extents = [extent_mm(part) + np.array([[-_RIM_MM], [_RIM_MM]]) for part in parts]
    shared = [i for i, extent in enumerate(extents) if _fits_a_page(extent, frame)]
    tiled = [i for i in range(len(parts)) if i not in set(shared)]

    contents = {part: PartContent(parts[part]) for part in range(len(parts))}
    grids = [
        cover_with_tiles(
            parts[part], tile_mm=(frame.width_mm, frame.height_mm), overlap_mm=overlap_mm
        )
        for part in tiled
    ]
    sheets: list[PlannedSheet] = []
    own_sheets: list[slice] = []  # of each tiled part
    for part, grid in zip(tiled, grids, strict=True):
        tiles = _tile_sheets(part, numbers[part], names[part], grid, frame)
        own_sheets.append(slice(len(sheets), len(sheets) + len(tiles)))
        sheets += tiles
    sheets, rest = with_small_parts(sheets, shared, extents, contents, frame, overlap_mm, numbers)
    sheets += [PlannedSheet(names_of(names, numbers, ws), frame, ws) for ws in rest]
    if paper.on_roll:
        alone = [slice(i, i + 1) for i in range(len(sheets) - len(rest), len(sheets))]
        sheets = [s for own in (*own_sheets, *alone) for s in cut_off(sheets[own], contents)]
    items: list[tuple[MapItem, int]] = [  # with the index of its first sheet
        (map_of_tiles(parts, numbers, part, grid, sheets[own], overlap_mm), own.start)
        for part, grid, own in zip(tiled, grids, own_sheets, strict=True)
    ]
    items += [
        (map_of_page(parts, names, numbers, sheets[i]), i)
        for i in range(len(sheets) - len(rest), len(sheets))
    ]
    on_map = map_frame(frame)
    plan = plan_map(on_map, [item.size_mm for item, _ in items], len(parts))
    first = plan.page_count + 1
    count = plan.page_count + len(sheets)
    told = [numbered(item, first + sheet) for item, sheet in items]
    entries = [
        MapEntry(
            numbers[part],
            names[part],
            tuple(
                first + i for i, s in enumerate(sheets) if any(w.part == part for w in s.windows)
            ),
        )
        for part in range(len(parts))
    ]
    pages = []
    for index in range(plan.page_count):
        furniture = merge_drawings(
            "page map",
            [
                draw_map_page(on_map, plan, index, title=title, items=told, entries=entries),
                foot_line(on_map, label=f"page map · {title}", page=index + 1, count=count),
            ],
        )
        pages.append(Page(on_map.paper, "page map", (), furniture))
    for i, sheet in enumerate(sheets):
        lines, words = _on_page(sheet.windows, contents)
        corner, side = place_for_check_square(sheet.frame, lines, words)
        furniture = merge_drawings(
            sheet.label,
            [
                check_square(
                    corner,
                    _square_note(sheet, numbers),
                    side_mm=side,
                    beside=shapely.union_all([lines, words]),
                ),
                join_lines(sheet.frame, sheet.around, overlap_mm=overlap_mm),
                foot_line(
                    sheet.frame, label=f"{sheet.label} · {title}", page=first + i, count=count
                ),
            ],
        )
        pages.append(Page(sheet.frame.paper, sheet.label, sheet.windows, furniture))
    return PageSet(title, tuple(parts), tuple(pages))


def _name_alone(name: str, number: int) -> str:
    """Return a drawing's name without its own number in front; the pages write that apart."""
    return name.removeprefix(f"{number} ") or name


def _fits_a_page(extent: Floats, frame: PageFrame) -> bool:
    w, h = extent[1] - extent[0]
    W, H = frame.width_mm, frame.height_mm
    return bool((w <= W and h <= H) or (h <= W and w <= H))


def _tile_sheets(
    part: int, number: int, name: str, grid: TileGrid, frame: PageFrame
) -> list[PlannedSheet]:
    names = {place: tile_name(*place) for place in grid.windows_mm}
    sheets = []
    for (row, column), window in grid.windows_mm.items():
        place = PageWindow(
            part, frame.low_mm - window[0], grid.turned, frame.clip_mm, names[row, column]
        )
        around = Neighbours(
            left=names.get((row, column - 1)),
            right=names.get((row, column + 1)),
            above=names.get((row - 1, column)),
            below=names.get((row + 1, column)),
        )
        sheets.append(
            PlannedSheet(f"part {number} {name} · {names[row, column]}", frame, (place,), around)
        )
    return sheets


def _square_note(sheet: PlannedSheet, numbers: Sequence[int]) -> str:
    if len(sheet.windows) == 1 and sheet.windows[0].tile:
        return f"part {numbers[sheet.windows[0].part]} · {sheet.windows[0].tile}"
    return ""


def _on_page(
    windows: Sequence[PageWindow], contents: dict[int, PartContent]
) -> tuple[shapely.Geometry, shapely.Geometry]:
    """Lines and words the windows show, in page coordinates."""
    lines: list[shapely.Geometry] = []
    words: list[shapely.Geometry] = []
    for window in windows:
        clip = window.clip_mm.ravel()
        for source, into in (
            (contents[window.part].lines, lines),
            (contents[window.part].words, words),
        ):
            placed = shapely.transform(source, window.page_from_part)
            into.append(shapely.clip_by_rect(placed, *clip))
    return shapely.union_all(lines), shapely.union_all(words)
