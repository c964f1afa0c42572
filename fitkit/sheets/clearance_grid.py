"""How far every place of a sheet is from what parts must keep clear of, on a grid."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import shapely
from numpy.typing import NDArray

from fitkit.geometry.arrays import Floats
from fitkit.geometry.compiled import compiled

__all__ = ["ClearanceGrid", "Patch", "edges_of", "fill_clearance"]

Singles: TypeAlias = NDArray[np.float32]


@dataclass(frozen=True, slots=True, eq=False)
class Patch:
    """What one obstacle does to a grid: ``values`` (h, w) from row and column on."""

    row: int
    column: int
    values: Singles


class ClearanceGrid:
    """Clearance in mm at the nodes of a square grid, negative where nothing may lie.

    ``values[j, i]`` belongs to (i, j) times ``cell_mm``; a point may belong to a part where it is 0
    or more. Clearances are told up to ``reach_mm`` only.
    """

    def __init__(self, length_mm: float, width_mm: float, cell_mm: float, reach_mm: float) -> None:
        self.cell_mm = cell_mm
        self.reach_mm = reach_mm
        shape = (math.ceil(width_mm / cell_mm) + 1, math.ceil(length_mm / cell_mm) + 1)
        self.values: Singles = np.full(shape, reach_mm, dtype=np.float32)

    def patch_of(self, area: shapely.Geometry, needed_mm: float, *, inside: bool = False) -> Patch:
        """Return the clearance from an area less what is needed, where it is below the reach.

        ``inside`` turns it round: parts lie in the area and keep clear of its edge.
        """
        rows, columns = self.values.shape
        band = self.reach_mm + needed_mm
        i0 = j0 = 0
        i1, j1 = columns - 1, rows - 1
        if not inside:
            x0, y0, x1, y1 = area.bounds
            i0 = max(0, math.floor((x0 - band) / self.cell_mm))
            j0 = max(0, math.floor((y0 - band) / self.cell_mm))
            i1 = min(i1, math.ceil((x1 + band) / self.cell_mm))
            j1 = min(j1, math.ceil((y1 + band) / self.cell_mm))
        values = np.full(
            (max(0, j1 - j0 + 1), max(0, i1 - i0 + 1)), self.reach_mm, dtype=np.float32
        )
        fill_clearance(values, i0, j0, self.cell_mm, edges_of(area), needed_mm, band, inside)
        return Patch(j0, i0, values)

    def take(self, patch: Patch) -> None:
        """Keep clear of one more obstacle."""
        height, width = patch.values.shape
        window = self.values[patch.row : patch.row + height, patch.column : patch.column + width]
        np.minimum(window, patch.values, out=window)

    def retake(self, base: Singles, patches: Sequence[Patch]) -> None:
        """Start again from a base and take these obstacles."""
        self.values[:] = base
        for patch in patches:
            self.take(patch)


def edges_of(area: shapely.Geometry) -> Floats:
    """Return the edges of all rings of an area, (E, 4) float: both ends' x and y."""
    rows = [np.zeros((0, 4))]
    for polygon in shapely.get_parts(area):
        for ring in (polygon.exterior, *polygon.interiors):
            points = shapely.get_coordinates(ring)
            rows.append(np.hstack([points[:-1], points[1:]]))
    return np.concatenate(rows)


@compiled
def fill_clearance(
    values: Singles,
    i0: int,
    j0: int,
    cell: float,
    edges: Floats,
    needed: float,
    band: float,
    inside: bool,
) -> None:
    """Write ``min(reach, signed distance - needed)``; rows are swept for the sign."""
    rows, columns = values.shape
    count = len(edges)
    for j in range(rows):
        y = (j0 + j) * cell
        near = np.empty(count, np.int64)
        many = 0
        for e in range(count):
            low = min(edges[e, 1], edges[e, 3])
            high = max(edges[e, 1], edges[e, 3])
            if low - band <= y <= high + band:
                near[many] = e
                many += 1
        for i in range(columns):
            x = (i0 + i) * cell
            best = band * band
            within = False
            for k in range(many):
                e = near[k]
                ax, ay, bx, by = edges[e, 0], edges[e, 1], edges[e, 2], edges[e, 3]
                if (ay > y) != (by > y) and x < ax + (y - ay) * (bx - ax) / (by - ay):
                    within = not within
                if min(ax, bx) - x > band or x - max(ax, bx) > band:
                    continue
                dx, dy = bx - ax, by - ay
                square = dx * dx + dy * dy
                t = 0.0
                if square > 0.0:
                    t = min(1.0, max(0.0, ((x - ax) * dx + (y - ay) * dy) / square))
                gx, gy = ax + t * dx - x, ay + t * dy - y
                best = min(best, gx * gx + gy * gy)
            distance = math.sqrt(best)
            if within != inside:
                distance = -distance
            values[j, i] = min(values[j, i], distance - needed)
