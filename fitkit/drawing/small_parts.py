"""Small parts on as few pages as they need: pages of their own, and room that tiles leave."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import shapely

from fitkit.drawing.free_room import FreeRoom
from fitkit.drawing.packing import PackedRectangle, pack_rectangles
from fitkit.drawing.page import PageWindow
from fitkit.drawing.page_furniture import CUT_INSET_MM, PageFrame
from fitkit.drawing.part_content import PartContent
from fitkit.drawing.planned_sheet import PlannedSheet
from fitkit.drawing.roll import shortest_length_mm
from fitkit.geometry.arrays import Floats

__all__ = ["with_small_parts"]

_GAP_MM = 8.0


def with_small_parts(
    sheets: list[PlannedSheet],
    shared: Sequence[int],
    extents: Sequence[Floats],
    contents: Mapping[int, PartContent],
    frame: PageFrame,
    overlap_mm: float,
    numbers: Sequence[int],
) -> tuple[list[PlannedSheet], list[tuple[PageWindow, ...]]]:
    """Return the tiles' sheets, with small parts in their free room where that saves pages.

    With them the windows of the pages that the other small parts share.
    """
    plain = _shared_windows(shared, extents, frame)
    if not sheets or not plain:
        return sheets, plain
    rooms = [_room_on(sheet, contents, frame, overlap_mm) for sheet in sheets]
    added: dict[int, list[PageWindow]] = {}
    left = []
    for part in sorted(shared, key=lambda i: -float(np.prod(extents[i][1] - extents[i][0]))):
        place = _place_on_tiles(part, extents[part], rooms)
        if place is None:
            left.append(part)
        else:
            added.setdefault(place[0], []).append(place[1])
    rest = _shared_windows(sorted(left), extents, frame)
    if len(rest) >= len(plain):
        return sheets, plain
    filled = list(sheets)
    for index, windows in added.items():
        listed = ", ".join(str(numbers[window.part]) for window in windows)
        label = f"{sheets[index].label} + part{'s' * (len(windows) > 1)} {listed}"
        filled[index] = replace(
            sheets[index], label=label, windows=(*sheets[index].windows, *windows)
        )
    return filled, rest


def _room_on(
    sheet: PlannedSheet, contents: Mapping[int, PartContent], frame: PageFrame, overlap_mm: float
) -> FreeRoom:
    """Return the room a tile leaves, its joins kept free."""
    (window,) = sheet.windows
    shown = shapely.transform(contents[window.part].area(), window.page_from_part)
    low, high = frame.low_mm.copy(), frame.high_mm.copy()
    low[0] += (CUT_INSET_MM + _GAP_MM) * (sheet.around.left is not None)
    high[1] -= (CUT_INSET_MM + _GAP_MM) * (sheet.around.above is not None)
    high[0] -= overlap_mm * (sheet.around.right is not None)
    low[1] += overlap_mm * (sheet.around.below is not None)
    return FreeRoom(low, high, shapely.clip_by_rect(shown, *frame.clip_mm.ravel()), _GAP_MM)


def _place_on_tiles(
    part: int, extent: Floats, rooms: Sequence[FreeRoom]
) -> tuple[int, PageWindow] | None:
    """Return the first sheet with room for a part, and its window there."""
    width, height = extent[1] - extent[0]
    for turned in (False, True):
        size = np.array([height, width] if turned else [width, height])
        for index, room in enumerate(rooms):
            corner = room.place(*size)
            if corner is not None:
                shift = _shift_to(corner, extent, turned)
                return index, PageWindow(part, shift, turned, np.stack([corner, corner + size]))
    return None


def _shared_windows(
    shared: Sequence[int], extents: Sequence[Floats], frame: PageFrame
) -> list[tuple[PageWindow, ...]]:
    """Windows of the parts that fit a page, page by page, each page's parts centred together."""
    if not shared:
        return []
    sizes = [(float(s[0]), float(s[1])) for s in (extents[i][1] - extents[i][0] for i in shared)]
    area = frame.width_mm, frame.height_mm
    if frame.paper.on_roll:
        area = frame.width_mm, shortest_length_mm(sizes, area, gap_mm=_GAP_MM)
    places = pack_rectangles(sizes, area, gap_mm=_GAP_MM)
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


def _shift_to(corner: Floats, extent: Floats, turned: bool) -> Floats:
    """Shift that brings an extent's lower left corner, after turning, to a place on the page."""
    low = np.array([-extent[1, 1], extent[0, 0]]) if turned else extent[0]
    shift: Floats = corner - low
    return shift
