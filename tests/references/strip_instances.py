"""Published strips for irregular nesting: outlines, demands and the best lengths known.

The sets were collected by ESICUP and are read from the files of the jagua-rs repository (Gardeyn
and Wauters, commit 76aab0f, folder assets). Record lengths: Gardeyn, Vanden Berghe, Wauters, *An
open-source heuristic to reboot 2D nesting research*, arXiv:2509.13329, 2025.
"""

from __future__ import annotations

import json
import math
import os
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import shapely

from fitkit.geometry.arrays import Floats

__all__ = ["FOLDER", "FU", "RECORD_LENGTHS", "StripInstance", "read_instance"]

_REPOSITORY = Path(__file__).resolve().parents[2]
FOLDER = (
    Path(os.environ.get("FITKIT_SHARED_DATA", _REPOSITORY.parent / "shared" / "data"))
    / "nesting-instances"
)

RECORD_LENGTHS = {
    "swim": 5541.653,
    "shirts": 59.393,
    "trousers": 235.172,
    "albano": 9692.056,
    "fu": 30.843,
}


@dataclass(frozen=True, slots=True)
class StripInstance:
    """Outlines, (N, 2) each, how they may be turned, and the strip's width."""

    name: str
    width: float
    outlines: tuple[Floats, ...]
    turns_rad: tuple[tuple[float, ...] | None, ...]

    @property
    def area(self) -> float:
        """Area of all pieces."""
        return sum(float(shapely.Polygon(outline).area) for outline in self.outlines)

    def density(self, length: float) -> float:
        """Return the share of a strip of that length that is pieces."""
        return self.area / (self.width * length)

    @property
    def record(self) -> float:
        """Density of the best layout known."""
        return self.density(RECORD_LENGTHS[self.name])


def read_instance(name: str) -> StripInstance:
    """Return an instance from its file."""
    values = json.loads((FOLDER / f"{name}.json").read_text(encoding="utf-8"))
    outlines, turns = [], []
    for item in values["items"]:
        outline = np.array(item["shape"]["data"], dtype=np.float64)[:-1]
        if not shapely.LinearRing(outline).is_ccw:
            outline = outline[::-1]
        told = item.get("allowed_orientations")
        turn = None if told is None else tuple(math.radians(one) for one in told)
        outlines += [outline] * item["demand"]
        turns += [turn] * item["demand"]
    return StripInstance(name, float(values["strip_height"]), tuple(outlines), tuple(turns))


_QUARTERS = (0.0, 0.5 * math.pi, math.pi, 1.5 * math.pi)
_FU_OUTLINES = (
    [(0, 0), (10, 0), (10, 10), (0, 10)],
    [(0, 0), (10, 0), (10, 10), (0, 10)],
    [(0, 0), (14, 0), (14, 9), (0, 9)],
    [(0, 0), (14, 0), (7, 7)],
    [(0, 9), (0, 0), (14, 9)],
    [(0, 0), (14, 0), (14, 14), (0, 14)],
    [(0, 0), (10, 4), (10, 9), (0, 9)],
    [(0, 0), (5, 0), (5, 9), (0, 9)],
    [(0, 0), (14, 0), (14, 14)],
    [(0, 0), (10, 0), (10, 10), (0, 14)],
    [(0, 8), (4, 0), (8, 8)],
    [(0, 0), (14, 0), (7, 12)],
)

FU = StripInstance(
    "fu",
    38.0,
    tuple(np.array(outline, dtype=np.float64) for outline in _FU_OUTLINES),
    (_QUARTERS,) * len(_FU_OUTLINES),
)
"""Twelve convex pieces (Fujita, Akagi, Hirokawa, 1993), as in the same files."""
