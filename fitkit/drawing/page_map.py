"""The page map: a small picture of every page and tile, the part list, and how to print."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from fitkit.drawing.drawing import Drawing, Layer, Stroke, TextAnchor, Words, merge_drawings
from fitkit.drawing.packing import PackedRectangle, pack_rectangles
from fitkit.drawing.page_furniture import CHECK_SIDE_MM, PageFrame, check_square
from fitkit.drawing.text_width import shortened, text_width_mm, wrapped
from fitkit.errors import DesignError
from fitkit.geometry.arrays import Floats

__all__ = ["MapCell", "MapEntry", "MapItem", "MapPlan", "draw_map_page", "plan_map"]

_TITLE_MM = 7.0
_LEAST_TITLE_MM = 4.0
_ROW_MM = 5.2
_CAPTION_MM = 5.0
_GAP_MM = 5.0
_SCALES = (4, 5, 6, 7, 8, 9, 10, 12, 15, 20, 25, 30, 40, 50, 75, 100, 150, 200)
# Below this the page numbers on a tile can no longer be read; then further map pages are added.
_SMALLEST_READABLE = 15

_HOW_TO_PRINT = (
    "1. Print at 100 %, actual size. Switch “fit to page” off.",
    "2. Measure this square both ways: each side 100 mm, at most 0.5 mm more or less. "
    "If not, do not cut: correct the printer setting.",
    "3. Tiles: cut the left and top edge along the unbroken line, lay it over the neighbour "
    "up to the broken line, crosses on crosses. Start at A1, join row by row.",
    "4. Parts are drawn from the plate's outside.",
    "Cut sheet edges are sharp: wear gloves when handling sheet, deburr every edge and hole. "
    "Local rules and qualified practice come first.",
)


@dataclass(frozen=True, slots=True, eq=False)
class MapCell:
    """One page's share of an item: its box (2, 2) mm in the item, page number and tile name."""

    box_mm: Floats
    page: int
    tile: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class MapItem:
    """One picture of the map in true size: a tiled part, or a page with several parts.

    ``outlines_mm`` are lines, closed where the first point is repeated; ``names`` are short
    words at places inside.
    """

    caption: str
    size_mm: tuple[float, float]
    outlines_mm: tuple[Floats, ...]
    cells: tuple[MapCell, ...]
    names: tuple[tuple[str, Floats], ...] = ()


@dataclass(frozen=True, slots=True)
class MapEntry:
    """One line of the part list."""

    number: int
    name: str
    pages: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class MapPlan:
    """How many map pages there are, at which scale, and where each item goes."""

    scale: int
    places: tuple[PackedRectangle, ...]
    page_count: int


def _area_mm(frame: PageFrame) -> tuple[float, float]:
    return frame.width_mm, frame.height_mm - _TITLE_MM - 5.0 - CHECK_SIDE_MM - 8.0


def _rows_per_page() -> int:
    return int((CHECK_SIDE_MM - 16.0) // _ROW_MM)


def plan_map(frame: PageFrame, sizes_mm: Sequence[tuple[float, float]], parts: int) -> MapPlan:
    """Choose the largest scale at which the map stays on as few pages as its list needs.

    Parameters
    ----------
    frame
        The page.
    sizes_mm
        True width and height of each item.
    parts
        How many parts the list holds.
    """
    area = _area_mm(frame)
    list_pages = max(1, -(-parts // _rows_per_page()))
    for scale in _SCALES:
        small = [(w / scale, h / scale + _CAPTION_MM) for w, h in sizes_mm]
        if any(w > area[0] or h > area[1] for w, h in small):
            continue
        places = pack_rectangles(small, area, gap_mm=_GAP_MM, may_turn=False, thorough=False)
        pages = 1 + max((p.page for p in places), default=0)
        if pages <= list_pages or scale >= _SMALLEST_READABLE:
            return MapPlan(scale, places, max(pages, list_pages))
    raise DesignError(
        "A part is too large to be drawn on the page map.", "Split the part, or use larger paper."
    )


def draw_map_page(
    frame: PageFrame,
    plan: MapPlan,
    index: int,
    *,
    title: str,
    items: Sequence[MapItem],
    entries: Sequence[MapEntry],
) -> Drawing:
    """Return map page ``index`` (from 0) without its foot line."""
    low, high = frame.low_mm, frame.high_mm
    words: list[Words] = []
    head = title if index == 0 else f"{title} (map, continued)"
    fitting = _TITLE_MM * frame.width_mm / max(text_width_mm(head, _TITLE_MM), 1e-9)
    height = min(_TITLE_MM, max(fitting, _LEAST_TITLE_MM))
    at = np.array([low[0], high[1] - _TITLE_MM])
    words.append(Words(shortened(head, height, frame.width_mm + 1e-6), at, height))
    square_low = np.array([low[0], high[1] - _TITLE_MM - 5.0 - CHECK_SIDE_MM])
    drawings = [check_square(square_low), _how_to_print(square_low)]
    list_low = np.array([square_low[0] + CHECK_SIDE_MM + 6.0, square_low[1]])
    rows = _rows_per_page()
    drawings.append(
        _part_list(
            list_low, high[0] - list_low[0], entries[index * rows : (index + 1) * rows], plan.scale
        )
    )
    for item, place in zip(items, plan.places, strict=True):
        if place.page == index:
            corner = low + np.array([place.x_mm, place.y_mm])
            drawings.append(_small_picture(item, corner, plan.scale))
    return merge_drawings("page map", [Drawing("head", words=tuple(words)), *drawings])


def _how_to_print(square_low: Floats) -> Drawing:
    height, left, room = 2.8, square_low[0] + 6.0, CHECK_SIDE_MM - 14.0
    y = square_low[1] + CHECK_SIDE_MM - 9.0
    words = []
    for paragraph in _HOW_TO_PRINT:
        for line in wrapped(paragraph, height, room):
            words.append(Words(line, np.array([left, y]), height))
            y -= 1.65 * height
        y -= 1.6
    return Drawing("how to print", words=tuple(words))


def pages_in_words(pages: Sequence[int]) -> str:
    """Return page numbers as runs.

    Examples
    --------
    >>> pages_in_words([2, 3, 4, 7])
    '2–4, 7'
    """
    runs: list[list[int]] = []
    for page in sorted(set(pages)):
        if runs and page == runs[-1][1] + 1:
            runs[-1][1] = page
        else:
            runs.append([page, page])
    return ", ".join(f"{a}" if a == b else f"{a}–{b}" for a, b in runs)


def _part_list(low: Floats, width: float, entries: Sequence[MapEntry], scale: int) -> Drawing:
    height = 2.8
    top = low[1] + CHECK_SIDE_MM - height
    words = [
        Words("part", np.array([low[0], top]), height),
        Words("page", np.array([low[0] + width, top]), height, anchor=TextAnchor.RIGHT),
        Words(
            f"Map below 1 : {scale}",
            low + np.array([0.0, 5.0]),
            2.5,
            layer=Layer.PAPER,
        ),
        Words(
            "p2 = page 2, A1 = row and column of a tile",
            low + np.array([0.0, 0.5]),
            2.5,
            layer=Layer.PAPER,
        ),
    ]
    strokes = [
        Stroke(np.array([[low[0], top - 1.8], [low[0] + width, top - 1.8]]), Layer.PAPER),
    ]
    for i, entry in enumerate(entries):
        y = top - 1.2 - (i + 1) * (_ROW_MM - 0.2)
        pages = shortened(pages_in_words(entry.pages), height, width * 0.4)
        room = width - 9.0 - text_width_mm(pages, height) - 3.0
        words += [
            Words(str(entry.number), np.array([low[0] + 6.0, y]), height, anchor=TextAnchor.RIGHT),
            Words(shortened(entry.name, height, room), np.array([low[0] + 9.0, y]), height),
            Words(pages, np.array([low[0] + width, y]), height, anchor=TextAnchor.RIGHT),
        ]
    return Drawing("part list", strokes=tuple(strokes), words=tuple(words))


def _small_picture(item: MapItem, corner: Floats, scale: int) -> Drawing:
    """Draw one item with its page numbers where they hide no line."""
    base = corner + np.array([0.0, _CAPTION_MM])
    strokes: list[Stroke] = []
    lines = []
    for outline in item.outlines_mm:
        line = shapely.LineString(outline / scale + base).simplify(0.05)
        points = shapely.get_coordinates(line)
        if len(points) >= 2 and line.length > 0.3:
            strokes.append(Stroke(points, Layer.MARK))
            lines.append(line)
    drawn = shapely.MultiLineString(lines)
    room = max(item.size_mm[0] / scale + _GAP_MM - 1.0, 16.0)
    words: list[Words] = []
    at = corner + np.array([0.0, 1.2])
    for cell in item.cells:
        if not cell.tile:
            # a page full of parts leaves no room for its number: it goes below
            number = f"p{cell.page}"
            words.append(Words(number, at, 3.0))
            indent = text_width_mm(number, 3.0) + 1.5
            at, room = at + np.array([indent, 0.0]), room - indent
    words.append(Words(shortened(item.caption, 2.5, room), at, 2.5))
    taken: list[shapely.Geometry] = []
    for name, at in item.names:
        place = at / scale + base
        words.append(Words(name, place - [0.0, 1.25], 2.5, anchor=TextAnchor.CENTRE))
        half = text_width_mm(name, 2.5) / 2.0
        taken.append(shapely.box(place[0] - half, place[1] - 1.6, place[0] + half, place[1] + 1.6))
    for cell in item.cells:
        box = cell.box_mm / scale + base
        (x0, y0), (x1, y1) = box
        strokes.append(
            Stroke(np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]]), Layer.PAPER, closed=True)
        )
        obstacles = shapely.GeometryCollection([drawn, *taken])
        if cell.tile:
            words += _cell_words(cell, box, obstacles)
    return Drawing(item.caption, strokes=tuple(strokes), words=tuple(words))


def _cell_words(cell: MapCell, box: Floats, obstacles: shapely.Geometry) -> list[Words]:
    (x0, y0), (x1, y1) = box
    number, tile = f"p{cell.page}", cell.tile
    big = min(3.5, 0.28 * (y1 - y0), 0.3 * (x1 - x0))
    small = 0.6 * big
    width = max(text_width_mm(number, big), text_width_mm(tile, small)) + 0.4
    tall = 1.35 * big + 1.3 * small
    best: tuple[float, int, float, float] | None = None
    order = 0
    for v in (0.5, 0.85, 0.15, 0.68, 0.32):
        for u in (0.5, 0.15, 0.85, 0.32, 0.68):
            left = x0 + 1.0 + u * max(x1 - x0 - 2.0 - width, 0.0)
            low = y0 + 1.0 + v * max(y1 - y0 - 2.0 - tall, 0.0)
            room = float(
                shapely.distance(shapely.box(left, low, left + width, low + tall), obstacles)
            )
            room = 1e3 if np.isnan(room) else room
            order += 1
            # one millimetre clear of every line is as good as more
            rank = (-min(room, 1.0), order, left, low)
            best = rank if best is None or rank < best else best
    assert best is not None
    left, low = best[2], best[3]
    middle = left + width / 2.0
    return [
        Words(number, np.array([middle, low + tall - big]), big, anchor=TextAnchor.CENTRE),
        Words(
            tile,
            np.array([middle, low + 0.1 * small]),
            small,
            anchor=TextAnchor.CENTRE,
            layer=Layer.PAPER,
        ),
    ]


def cell_boxes(
    windows_mm: Mapping[tuple[int, int], Floats], overlap_mm: float, inset_mm: float
) -> dict[tuple[int, int], Floats]:
    """Return what of each tile stays in sight once all are joined, (2, 2) mm by (row, column)."""
    boxes = {}
    for (row, column), window in windows_mm.items():
        (x0, y0), (x1, y1) = window
        if (row, column - 1) in windows_mm:
            x0 += inset_mm
        if (row - 1, column) in windows_mm:
            y1 -= inset_mm
        if (row, column + 1) in windows_mm:
            x1 -= overlap_mm - inset_mm
        if (row + 1, column) in windows_mm:
            y0 += overlap_mm - inset_mm
        boxes[row, column] = np.array([[x0, y0], [x1, y1]])
    return boxes
