"""Pages: windows onto parts, true to scale, with what belongs to the paper around them."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from fitkit.drawing.drawing import Drawing
from fitkit.drawing.paper import Paper
from fitkit.errors import ShapeError
from fitkit.geometry.arrays import Floats, frozen_floats

__all__ = ["Page", "PageSet", "PageWindow"]


@dataclass(frozen=True, slots=True, eq=False)
class PageWindow:
    """What one page shows of one part.

    Attributes
    ----------
    part
        Index into :attr:`PageSet.parts`.
    shift_mm
        (2,) float mm: added after turning, from part to page.
    turned
        Whether the part is turned by a quarter counter-clockwise; parts are never mirrored and
        never scaled.
    clip_mm
        (2, 2) float mm: lowest and highest corner on the page; what lies outside is not shown.
    tile
        Row letter from the top and column number from the left, ``"A2"``; empty when the page
        shows the whole part.
    """

    part: int
    shift_mm: Floats
    turned: bool
    clip_mm: Floats
    tile: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "shift_mm", frozen_floats(self.shift_mm, (2,), "shift_mm"))
        clip = frozen_floats(self.clip_mm, (2, 2), "clip_mm")
        if not (clip[1] > clip[0]).all():
            raise ShapeError("A page window has no area.", "Give its lowest corner first.")
        object.__setattr__(self, "clip_mm", clip)

    @property
    def turn_rad(self) -> float:
        """The turn from part to page."""
        return math.pi / 2.0 if self.turned else 0.0

    def page_from_part(self, points_mm: Floats) -> Floats:
        """(N, 2) float mm: places on the page of (N, 2) points of the part."""
        points = np.asarray(points_mm, dtype=np.float64)
        if self.turned:
            points = np.stack([-points[:, 1], points[:, 0]], axis=1)
        placed: Floats = points + self.shift_mm
        return placed


@dataclass(frozen=True, slots=True, eq=False)
class Page:
    """One side of paper; origin at its lower left corner, portrait.

    Attributes
    ----------
    paper
        The paper.
    label
        What the page shows, in words.
    windows
        The parts shown.
    furniture
        What belongs to the paper: check square, register marks, words.
    """

    paper: Paper
    label: str
    windows: tuple[PageWindow, ...]
    furniture: Drawing


@dataclass(frozen=True, slots=True, eq=False)
class PageSet:
    """All pages of one printing, in order; page one carries the page map."""

    title: str
    parts: tuple[Drawing, ...]
    pages: tuple[Page, ...]
