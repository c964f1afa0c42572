"""Paper on a roll: how much of it is needed, and where it is cut off."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import shapely

from fitkit.drawing.packing import pack_rectangles
from fitkit.drawing.page import PageWindow
from fitkit.drawing.page_furniture import PageFrame
from fitkit.drawing.part_content import PartContent
from fitkit.drawing.planned_sheet import PlannedSheet

__all__ = ["cut_off", "map_frame", "shortest_length_mm"]

_CLOSE_MM = 2.0
# A page map takes this much of a roll; a page with parts at least so much, for its check square.
_MAP_MM = 320.0
_SHORTEST_MM = 150.0
_RIM_MM = 2.0


def map_frame(frame: PageFrame) -> PageFrame:
    """Return the frame for the page map: the page's own, or a short one of a roll."""
    paper = frame.paper
    return PageFrame(paper.cut_off(_MAP_MM), frame.margin_mm) if paper.on_roll else frame


def cut_off(
    sheets: Sequence[PlannedSheet], contents: Mapping[int, PartContent]
) -> list[PlannedSheet]:
    """Return sheets of a roll cut off where their content ends, all at the same place.

    Tiles of one part have to be given together, so that their joins stay level.
    """
    frame = sheets[0].frame
    shown = [
        shapely.clip_by_rect(
            shapely.transform(contents[window.part].area(), window.page_from_part),
            *window.clip_mm.ravel(),
        ).bounds
        for sheet in sheets
        for window in sheet.windows
    ]
    low = min(bounds[1] for bounds in shown) - _RIM_MM
    high = max(bounds[3] for bounds in shown) + _RIM_MM
    around = frame.paper.height_mm - frame.height_mm
    length = max(high - low + around, _SHORTEST_MM)
    down = np.array([0.0, frame.low_mm[1] - low])
    short = PageFrame(frame.paper.cut_off(float(np.ceil(length))), frame.margin_mm)

    def moved(window: PageWindow) -> PageWindow:
        clip = window.clip_mm + down
        clip = np.stack([np.maximum(clip[0], short.low_mm), np.minimum(clip[1], short.high_mm)])
        return replace(window, shift_mm=window.shift_mm + down, clip_mm=clip)

    return [
        replace(sheet, frame=short, windows=tuple(moved(window) for window in sheet.windows))
        for sheet in sheets
    ]


def shortest_length_mm(
    sizes_mm: Sequence[tuple[float, float]], longest_mm: tuple[float, float], *, gap_mm: float
) -> float:
    """Return about the least length of paper on which rectangles find room.

    Parameters
    ----------
    sizes_mm
        Width and height of each.
    longest_mm
        Width of the roll and the longest page.
    gap_mm
        Least distance between two rectangles.

    Returns
    -------
    float
        Length of each page, of as many as they take on the longest ones; halved down to 2 mm.
    """
    width, longest = longest_mm

    def pages(length: float) -> int:
        places = pack_rectangles(sizes_mm, (width, length), gap_mm=gap_mm, thorough=False)
        return 1 + max(place.page for place in places)

    most = pages(longest)
    grown = [(w + gap_mm, h + gap_mm) for w, h in sizes_mm]
    # A part lies the way that its shorter side takes up the roll's length, where it can.
    low = max(min(w, h) if max(w, h) <= width else max(w, h) for w, h in sizes_mm)
    low = max(low, sum(w * h for w, h in grown) / (width + gap_mm) / most - gap_mm)
    high = longest
    while high - low > _CLOSE_MM:
        middle = 0.5 * (low + high)
        if pages(middle) <= most:
            high = middle
        else:
            low = middle
    return high
