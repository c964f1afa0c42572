"""What the page map shows: each tiled part with its tiles, each page of small parts."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from fitkit.drawing.drawing import Drawing, Layer
from fitkit.drawing.page import PageWindow
from fitkit.drawing.page_furniture import CUT_INSET_MM
from fitkit.drawing.page_map import MapCell, MapItem, cell_boxes
from fitkit.drawing.planned_sheet import PlannedSheet
from fitkit.drawing.tile_grid import TileGrid, tile_name
from fitkit.geometry.arrays import Floats

__all__ = ["map_of_page", "map_of_tiles", "names_of", "numbered"]


def map_of_tiles(
    parts: Sequence[Drawing],
    numbers: Sequence[int],
    part: int,
    grid: TileGrid,
    sheets: Sequence[PlannedSheet],
    overlap_mm: float,
) -> MapItem:
    """Return a tiled part with the small parts that stand on its tiles."""
    # What each sheet shows, in the (turned) part: on a roll less than the tile was laid out with.
    from_page = [-sheet.windows[0].shift_mm for sheet in sheets]
    windows = {
        place: sheet.windows[0].clip_mm + shift
        for place, sheet, shift in zip(grid.windows_mm, sheets, from_page, strict=True)
    }
    low = np.min([window[0] for window in windows.values()], axis=0)
    high = np.max([window[1] for window in windows.values()], axis=0)
    turn = PageWindow(0, -low, grid.turned, np.array([[0.0, 0.0], [1.0, 1.0]]))
    boxes = cell_boxes(windows, overlap_mm, CUT_INSET_MM)
    outlines = [turn.page_from_part(line) for line in _outlines(parts[part])]
    names = []
    for sheet, shift in zip(sheets, from_page, strict=True):
        for window in sheet.windows[1:]:
            outlines += [
                window.page_from_part(line) + shift - low for line in _outlines(parts[window.part])
            ]
            names.append((str(numbers[window.part]), window.clip_mm.mean(axis=0) + shift - low))
    return MapItem(
        caption=f"part {numbers[part]}",
        size_mm=(float(high[0] - low[0]), float(high[1] - low[1])),
        outlines_mm=tuple(outlines),
        cells=tuple(
            MapCell(box - low, i, tile_name(*at)) for i, (at, box) in enumerate(boxes.items())
        ),
        names=tuple(names),
    )


def map_of_page(
    parts: Sequence[Drawing],
    names: Sequence[str],
    numbers: Sequence[int],
    sheet: PlannedSheet,
) -> MapItem:
    """Return a page that small parts share."""
    windows, paper = sheet.windows, sheet.frame.paper
    outlines = [w.page_from_part(line) for w in windows for line in _outlines(parts[w.part])]
    several = len(windows) > 1
    return MapItem(
        caption=names_of(names, numbers, windows)
        if several
        else f"part {numbers[windows[0].part]}",
        size_mm=(paper.width_mm, paper.height_mm),
        outlines_mm=tuple(outlines),
        cells=(MapCell(np.array([[0.0, 0.0], [paper.width_mm, paper.height_mm]]), 0),),
        names=tuple((str(numbers[w.part]), w.clip_mm.mean(axis=0)) for w in windows)
        if several
        else (),
    )


def numbered(item: MapItem, first_page: int) -> MapItem:
    """Return the item with page numbers in place of counts from zero."""
    return MapItem(
        item.caption,
        item.size_mm,
        item.outlines_mm,
        tuple(MapCell(c.box_mm, first_page + c.page, c.tile) for c in item.cells),
        item.names,
    )


def names_of(names: Sequence[str], numbers: Sequence[int], windows: Sequence[PageWindow]) -> str:
    """Return what a page of whole parts is called: its one part's name, or all their numbers."""
    if len(windows) == 1:
        return f"part {numbers[windows[0].part]} {names[windows[0].part]}"
    listed = sorted(numbers[w.part] for w in windows)
    return "parts " + ", ".join(map(str, listed))


def _outlines(part: Drawing) -> list[Floats]:
    """Cut lines and solid areas as lines, closed ones with their first point repeated."""
    closed = [s.points_mm for s in part.strokes if s.layer is Layer.CUT and s.closed]
    closed += [f.points_mm for f in part.fills]
    lines = [np.vstack([points, points[:1]]) for points in closed]
    lines += [s.points_mm for s in part.strokes if s.layer is Layer.CUT and not s.closed]
    return lines or [s.points_mm for s in part.strokes]
