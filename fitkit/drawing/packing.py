"""Placing rectangles on equal pages with a gap between them."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import islice

import numpy as np

from fitkit.errors import DesignError

__all__ = ["PackedRectangle", "least_pages", "pack_rectangles"]

# Lengths that differ by less fit all the same; far below what a printer can show.
_SLACK_MM = 1e-6
# Further orders tried where the plain ones stay above the least number of pages.
_SHUFFLES = 12


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
    thorough: bool = True,
) -> tuple[PackedRectangle, ...]:
    """Place rectangles on as few pages as a search through several orders finds.

    Each goes into the free rectangle (of all maximal ones) that it fills best, on the first
    page that has room. Pages fill from the top left. Rectangles stay upright unless turning
    some saves a page. The search ends where no packing can have fewer pages.

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
    thorough
        Whether to try many orders, not only the large ones first.

    Raises
    ------
    DesignError
        When a rectangle is larger than the page.

    References
    ----------
    J. Jylänki, *A Thousand Ways to Pack the Bin*, 2010, section 2 (maximal rectangles, best
    short side fit).
    """
    least = least_pages(sizes_mm, page_mm, gap_mm=gap_mm, may_turn=may_turn)
    best: tuple[PackedRectangle, ...] | None = None
    for upright_first in (True, False) if may_turn else (True,):
        for order in islice(_orders(sizes_mm), None if thorough else 1):
            places = _packed(
                sizes_mm, page_mm, gap_mm, order, may_turn=may_turn, upright_first=upright_first
            )
            if best is None or _page_count(places) < _page_count(best):
                best = places
            if _page_count(best) <= least:
                return best
    assert best is not None
    return best


def least_pages(
    sizes_mm: Sequence[tuple[float, float]],
    page_mm: tuple[float, float],
    *,
    gap_mm: float,
    may_turn: bool = True,
) -> int:
    """Return a number of pages that no packing can go below.

    The larger of two bounds: all areas together, and those rectangles of which no two can share a
    page because neither side by side nor one above the other do they fit.
    """
    wide, high = page_mm[0] + gap_mm, page_mm[1] + gap_mm
    grown = [(w + gap_mm, h + gap_mm) for w, h in sizes_mm]
    by_area = math.ceil(sum(w * h for w, h in grown) / (wide * high) - 1e-9)
    alone = 0
    for w, h in grown:
        ways = [(w, h), (h, w)] if may_turn else [(w, h)]
        fitting = [(a, b) for a, b in ways if a <= wide + _SLACK_MM and b <= high + _SLACK_MM]
        alone += all(2 * a > wide + _SLACK_MM and 2 * b > high + _SLACK_MM for a, b in fitting)
    return max(by_area, alone)


def _orders(sizes_mm: Sequence[tuple[float, float]]) -> Iterator[list[int]]:
    """Yield orders to place rectangles in: by size in several senses, then shuffled a little."""
    every = range(len(sizes_mm))
    senses: tuple[Callable[[float, float], float], ...] = (max, _area, _around, min)
    for sense in senses:
        yield sorted(every, key=lambda i: (-sense(*sizes_mm[i]), -min(sizes_mm[i]), i))
    rng = np.random.default_rng(0)
    for _ in range(_SHUFFLES if len(sizes_mm) > 2 else 0):
        noise = rng.uniform(0.6, 1.0, len(sizes_mm))
        yield sorted(every, key=lambda i: (-noise[i] * _area(*sizes_mm[i]), i))


def _area(width: float, height: float) -> float:
    return width * height


def _around(width: float, height: float) -> float:
    return width + height


def _page_count(places: Sequence[PackedRectangle]) -> int:
    return 1 + max((place.page for place in places), default=-1)


def _packed(
    sizes_mm: Sequence[tuple[float, float]],
    page_mm: tuple[float, float],
    gap_mm: float,
    order: Sequence[int],
    *,
    may_turn: bool,
    upright_first: bool,
) -> tuple[PackedRectangle, ...]:
    wide, high = page_mm[0] + gap_mm, page_mm[1] + gap_mm
    pages: list[list[_Free]] = []
    placed: dict[int, PackedRectangle] = {}
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
