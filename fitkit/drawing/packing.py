"""Placing rectangles on equal pages with a gap between them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from fitkit.errors import DesignError

__all__ = ["PackedRectangle", "pack_rectangles"]

# Lengths that differ by less fit all the same; far below what a printer can show.
_SLACK_MM = 1e-6


@dataclass(frozen=True, slots=True)
class PackedRectangle:
    """Where one rectangle went: page index, lower left corner, and whether it was turned."""

    page: int
    x_mm: float
    y_mm: float
    turned: bool


_Free = tuple[float, float, float, float]  # x, y, width, height


def _without(free: list[_Free], used: _Free) -> list[_Free]:
    """Return the free rectangles left when ``used`` is taken, none inside another."""
    ux, uy, uw, uh = used
    left: list[_Free] = []
    for x, y, w, h in free:
        if ux >= x + w or ux + uw <= x or uy >= y + h or uy + uh <= y:
            left.append((x, y, w, h))
            continue
        if ux > x:
            left.append((x, y, ux - x, h))
        if ux + uw < x + w:
            left.append((ux + uw, y, x + w - ux - uw, h))
        if uy > y:
            left.append((x, y, w, uy - y))
        if uy + uh < y + h:
            left.append((x, uy + uh, w, y + h - uy - uh))
    kept: list[_Free] = []
    for i, (x, y, w, h) in enumerate(left):
        inside_another = any(
            x >= X
            and y >= Y
            and x + w <= X + W
            and y + h <= Y + H
            and (i > j or left[i] != left[j])
            for j, (X, Y, W, H) in enumerate(left)
            if i != j
        )
        if not inside_another:
            kept.append((x, y, w, h))
    return kept


def pack_rectangles(
    sizes_mm: Sequence[tuple[float, float]],
    page_mm: tuple[float, float],
    *,
    gap_mm: float = 8.0,
    may_turn: bool = True,
) -> tuple[PackedRectangle, ...]:
    """Place rectangles on as many pages as it takes, large ones first.

    Each goes into the free rectangle (of all maximal ones) that it fills best, on the first
    page that has room. Pages fill from the top left. Rectangles stay upright unless turning
    some saves a page.

    Parameters
    ----------
    sizes_mm
        Width and height of each.
    page_mm
        Width and height of a page's usable area; results count from its lower left corner.
    gap_mm
        Least distance between two rectangles.
    may_turn
        Whether a quarter turn is allowed.

    Raises
    ------
    DesignError
        When a rectangle is larger than the page.

    References
    ----------
    J. Jylänki, *A Thousand Ways to Pack the Bin*, 2010, section 2 (maximal rectangles, best
    short side fit).
    """
    upright = _packed(sizes_mm, page_mm, gap_mm, may_turn=may_turn, upright_first=True)
    if not may_turn:
        return upright
    any_way = _packed(sizes_mm, page_mm, gap_mm, may_turn=True, upright_first=False)
    return any_way if _page_count(any_way) < _page_count(upright) else upright


def _page_count(places: Sequence[PackedRectangle]) -> int:
    return 1 + max((place.page for place in places), default=-1)


def _packed(
    sizes_mm: Sequence[tuple[float, float]],
    page_mm: tuple[float, float],
    gap_mm: float,
    *,
    may_turn: bool,
    upright_first: bool,
) -> tuple[PackedRectangle, ...]:
    wide, high = page_mm[0] + gap_mm, page_mm[1] + gap_mm
    pages: list[list[_Free]] = []
    placed: dict[int, PackedRectangle] = {}
    order = sorted(range(len(sizes_mm)), key=lambda i: (-max(sizes_mm[i]), -min(sizes_mm[i]), i))
    for index in order:
        w, h = sizes_mm[index][0] + gap_mm, sizes_mm[index][1] + gap_mm
        turns = [(False, w, h), (True, h, w)] if may_turn else [(False, w, h)]
        for page in range(len(pages) + 1):
            free = pages[page] if page < len(pages) else [(0.0, 0.0, wide, high)]
            fits = [
                (turned and upright_first, min(fw - tw, fh - th), y, x, turned, tw, th)
                for x, y, fw, fh in free
                for turned, tw, th in turns
                if tw <= fw + _SLACK_MM and th <= fh + _SLACK_MM
            ]
            if not fits:
                continue
            _, _, y, x, turned, tw, th = min(fits)
            if page == len(pages):
                pages.append(free)
            pages[page] = _without(free, (x, y, tw, th))
            # y grows downwards while packing, so that the first go to the top of the page
            placed[index] = PackedRectangle(page, x, high - y - th, turned)
            break
        else:
            raise DesignError(
                f"A part of {sizes_mm[index][0]:.0f} × {sizes_mm[index][1]:.0f} mm does not fit "
                f"an area of {page_mm[0]:.0f} × {page_mm[1]:.0f} mm.",
                "Use larger paper or let the part be tiled.",
            )
    return tuple(placed[i] for i in range(len(sizes_mm)))
