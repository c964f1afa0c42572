"""Parts laid over as many pages as it takes, true to scale, with a page map in front."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from fitkit.drawing.drawing import Drawing, Layer, merge_drawings
from fitkit.drawing.packing import PackedRectangle, pack_rectangles
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
from fitkit.drawing.page_map import (
    MapCell,
    MapEntry,
    MapItem,
    cell_boxes,
    draw_map_page,
    plan_map,
)
from fitkit.drawing.paper import Paper
from fitkit.drawing.part_content import PartContent, extent_mm
from fitkit.drawing.tile_grid import TileGrid, cover_with_tiles, tile_name
from fitkit.errors import DesignError, InputError
from fitkit.geometry.arrays import Floats

__all__ = ["tile_drawings"]

_GAP_MM = 8.0
# A line along a part's border is drawn half outside its bounds.
_RIM_MM = 1.0
_MIN_OVERLAP_MM = 2.0 * CUT_INSET_MM


_ALONE = Neighbours()


@dataclass(frozen=True, slots=True)
class _Sheet:
    """A page before it is numbered: its windows and, for a tile, its neighbours."""

    label: str
    windows: tuple[PageWindow, ...]
    around: Neighbours = _ALONE


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
    saves pages. Page one (and more where the list is long) carries the page map.

    Parameters
    ----------
    parts
        Drawings in millimetres, named as the maker calls them.
    paper
        The paper, upright.
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

    sheets: list[_Sheet] = []
    items: list[tuple[MapItem, int]] = []  # with the index of its first sheet
    for part in tiled:
        grid = cover_with_tiles(
            parts[part], tile_mm=(frame.width_mm, frame.height_mm), overlap_mm=overlap_mm
        )
        items.append((_map_of_tiles(parts[part], numbers[part], grid, overlap_mm), len(sheets)))
        sheets += _tile_sheets(part, numbers[part], names[part], grid, frame)
    for windows in _shared_windows(shared, extents, frame):
        items.append((_map_of_page(parts, names, numbers, windows, frame), len(sheets)))
        sheets.append(_Sheet(_names_of(names, numbers, windows), windows))

    plan = plan_map(frame, [item.size_mm for item, _ in items], len(parts))
    first = plan.page_count + 1
    count = plan.page_count + len(sheets)
    numbered = [_numbered(item, first + sheet) for item, sheet in items]
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
                draw_map_page(frame, plan, index, title=title, items=numbered, entries=entries),
                foot_line(frame, label=f"page map · {title}", page=index + 1, count=count),
            ],
        )
        pages.append(Page(paper, "page map", (), furniture))
    contents = {part: PartContent(parts[part]) for part in range(len(parts))}
    for i, sheet in enumerate(sheets):
        lines, words = _on_page(sheet.windows, contents)
        corner, side = place_for_check_square(frame, lines, words)
        furniture = merge_drawings(
            sheet.label,
            [
                check_square(
                    corner,
                    _square_note(sheet, numbers),
                    side_mm=side,
                    beside=shapely.union_all([lines, words]),
                ),
                join_lines(frame, sheet.around, overlap_mm=overlap_mm),
                foot_line(frame, label=f"{sheet.label} · {title}", page=first + i, count=count),
            ],
        )
        pages.append(Page(paper, sheet.label, sheet.windows, furniture))
    return PageSet(title, tuple(parts), tuple(pages))


def _name_alone(name: str, number: int) -> str:
    """Return a drawing's name without its own number in front; the pages write that apart."""
    return name.removeprefix(f"{number} ") or name


def _fits_a_page(extent: Floats, frame: PageFrame) -> bool:
    w, h = extent[1] - extent[0]
    W, H = frame.width_mm, frame.height_mm
    return bool((w <= W and h <= H) or (h <= W and w <= H))


def _shift_to(corner: Floats, extent: Floats, turned: bool) -> Floats:
    """Shift that brings an extent's lower left corner, after turning, to a place on the page."""
    low = np.array([-extent[1, 1], extent[0, 0]]) if turned else extent[0]
    shift: Floats = corner - low
    return shift


def _tile_sheets(
    part: int, number: int, name: str, grid: TileGrid, frame: PageFrame
) -> list[_Sheet]:
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
        sheets.append(_Sheet(f"part {number} {name} · {names[row, column]}", (place,), around))
    return sheets


def _shared_windows(
    shared: Sequence[int], extents: Sequence[Floats], frame: PageFrame
) -> list[tuple[PageWindow, ...]]:
    """Windows of the parts that fit a page, page by page, each page's parts centred together."""
    if not shared:
        return []
    sizes = [(float(s[0]), float(s[1])) for s in (extents[i][1] - extents[i][0] for i in shared)]
    places = pack_rectangles(sizes, (frame.width_mm, frame.height_mm), gap_mm=_GAP_MM)
    pages: list[list[PageWindow]] = [[] for _ in range(1 + max(p.page for p in places))]
    for part, size, place in zip(shared, sizes, places, strict=True):
        pages[place.page].append(_window(part, extents[part], size, place, frame))
    return [_centred(windows, frame) for windows in pages]


def _window(
    part: int,
    extent: Floats,
    size: tuple[float, float],
    place: PackedRectangle,
    frame: PageFrame,
) -> PageWindow:
    corner = frame.low_mm + np.array([place.x_mm, place.y_mm])
    across = np.array(size[::-1] if place.turned else size)
    shift = _shift_to(corner, extent, place.turned)
    return PageWindow(part, shift, place.turned, np.stack([corner, corner + across]))


def _centred(windows: list[PageWindow], frame: PageFrame) -> tuple[PageWindow, ...]:
    low = np.min([w.clip_mm[0] for w in windows], axis=0)
    high = np.max([w.clip_mm[1] for w in windows], axis=0)
    move = (frame.low_mm + frame.high_mm - low - high) / 2.0
    return tuple(
        PageWindow(w.part, w.shift_mm + move, w.turned, w.clip_mm + move, w.tile) for w in windows
    )


def _names_of(names: Sequence[str], numbers: Sequence[int], windows: Sequence[PageWindow]) -> str:
    if len(windows) == 1:
        return f"part {numbers[windows[0].part]} {names[windows[0].part]}"
    listed = sorted(numbers[w.part] for w in windows)
    return "parts " + ", ".join(map(str, listed))


def _square_note(sheet: _Sheet, numbers: Sequence[int]) -> str:
    if len(sheet.windows) == 1 and sheet.windows[0].tile:
        return f"part {numbers[sheet.windows[0].part]} · {sheet.windows[0].tile}"
    return ""


def _outlines(part: Drawing) -> list[Floats]:
    """Cut lines and solid areas as lines, closed ones with their first point repeated."""
    closed = [s.points_mm for s in part.strokes if s.layer is Layer.CUT and s.closed]
    closed += [f.points_mm for f in part.fills]
    lines = [np.vstack([points, points[:1]]) for points in closed]
    lines += [s.points_mm for s in part.strokes if s.layer is Layer.CUT and not s.closed]
    return lines or [s.points_mm for s in part.strokes]


def _map_of_tiles(part: Drawing, number: int, grid: TileGrid, overlap_mm: float) -> MapItem:
    windows = np.stack(list(grid.windows_mm.values()))
    low, high = windows[:, 0].min(axis=0), windows[:, 1].max(axis=0)
    turn = PageWindow(0, -low, grid.turned, np.array([[0.0, 0.0], [1.0, 1.0]]))
    boxes = cell_boxes(grid.windows_mm, overlap_mm, CUT_INSET_MM)
    return MapItem(
        caption=f"part {number}",
        size_mm=(float(high[0] - low[0]), float(high[1] - low[1])),
        outlines_mm=tuple(turn.page_from_part(line) for line in _outlines(part)),
        cells=tuple(
            MapCell(box - low, i, tile_name(*at)) for i, (at, box) in enumerate(boxes.items())
        ),
    )


def _map_of_page(
    parts: Sequence[Drawing],
    names: Sequence[str],
    numbers: Sequence[int],
    windows: Sequence[PageWindow],
    frame: PageFrame,
) -> MapItem:
    outlines = [w.page_from_part(line) for w in windows for line in _outlines(parts[w.part])]
    several = len(windows) > 1
    return MapItem(
        caption=_names_of(names, numbers, windows)
        if several
        else f"part {numbers[windows[0].part]}",
        size_mm=(frame.paper.width_mm, frame.paper.height_mm),
        outlines_mm=tuple(outlines),
        cells=(MapCell(np.array([[0.0, 0.0], [frame.paper.width_mm, frame.paper.height_mm]]), 0),),
        names=tuple((str(numbers[w.part]), w.clip_mm.mean(axis=0)) for w in windows)
        if several
        else (),
    )


def _numbered(item: MapItem, first_page: int) -> MapItem:
    """Return the item with page numbers in place of counts from zero."""
    return MapItem(
        item.caption,
        item.size_mm,
        item.outlines_mm,
        tuple(MapCell(c.box_mm, first_page + c.page, c.tile) for c in item.cells),
        item.names,
    )


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
