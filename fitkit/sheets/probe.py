"""A part as points that must each have a clearance: what decides whether it may lie somewhere."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely

from fitkit.geometry.arrays import Floats
from fitkit.geometry.compiled import compiled
from fitkit.sheets.clearance_grid import ClearanceGrid, Singles

__all__ = ["Probe", "corner_places", "first_place"]

_MOST_CIRCLES = 14
_LEAST_RADIUS_MM = 3.0
# Clearances are told up to a reach; circles stay so far below it that some can be spared.
_MOST_SPARE_MM = 5.0
_CELLS_ACROSS = 40
_MOST_CORNERS = 16
# A step of the golden section goes round an outline so that any few points are spread well.
_GOLDEN = 0.6180339887498949


@dataclass(frozen=True, slots=True, eq=False)
class Probe:
    """Points of a part, (K, 2) float mm, and the clearance each needs, (K,) float mm.

    First come the centres of circles that fill the part, largest first, then points along its
    cuts. ``low`` and ``high`` are its bounds.
    """

    points_mm: Floats
    needs_mm: Floats
    low: Floats
    high: Floats

    @classmethod
    def of_polygon(cls, polygon: shapely.Polygon, *, step_mm: float, reach_mm: float) -> Probe:
        """Return the probe of a part, points along its cuts no further apart than a step."""
        centres, radii = _filling_circles(polygon, reach_mm)
        rings = shapely.get_rings(polygon)
        rim = np.concatenate(
            [shapely.get_coordinates(shapely.segmentize(ring, step_mm))[:-1] for ring in rings]
        )
        rim = rim[np.argsort((np.arange(len(rim)) * _GOLDEN) % 1.0)]
        bounds = np.array(polygon.bounds)
        return cls(
            np.concatenate([centres, rim]),
            np.concatenate([radii, np.zeros(len(rim))]),
            bounds[:2],
            bounds[2:],
        )

    def turned(self, turn_rad: float, *, mirrored: bool) -> Probe:
        """Return the probe of the part mirrored, if so, then turned about the origin."""
        points = self.points_mm * np.array([-1.0 if mirrored else 1.0, 1.0])
        c, s = math.cos(turn_rad), math.sin(turn_rad)
        points = points @ np.array([[c, s], [-s, c]])
        rim = points[self.needs_mm == 0.0]
        return Probe(points, self.needs_mm, rim.min(axis=0), rim.max(axis=0))


def _filling_circles(polygon: shapely.Polygon, reach_mm: float) -> tuple[Floats, Floats]:
    """Return centres (C, 2) and radii (C,) of circles in the part, each the largest left."""
    x0, y0, x1, y1 = polygon.bounds
    cell = max(x1 - x0, y1 - y0, 1.0) / _CELLS_ACROSS
    grid = ClearanceGrid(x1 - x0, y1 - y0, cell, reach_mm)
    moved = shapely.transform(polygon, lambda points: points - np.array([x0, y0]))
    grid.take(grid.patch_of(moved, 0.0, inside=True))
    rows, columns = grid.values.shape
    x, y = np.meshgrid(np.arange(columns) * cell, np.arange(rows) * cell)
    free = grid.values.astype(np.float64)
    most = reach_mm - _MOST_SPARE_MM
    centres, radii = [], []
    for _ in range(_MOST_CIRCLES):
        j, i = np.unravel_index(int(np.argmax(free)), free.shape)
        radius = float(free[j, i])
        if radius < _LEAST_RADIUS_MM:
            break
        centres.append([x[j, i] + x0, y[j, i] + y0])
        radii.append(radius)
        free[np.hypot(x - x[j, i], y - y[j, i]) < radius] = 0.0
    # A hundredth off: the circle's own rounding must not forbid where the part may lie.
    return np.reshape(np.array(centres), (-1, 2)), np.minimum(0.99 * np.array(radii), most)


def first_place(
    grid: ClearanceGrid, probe: Probe, *, before_mm: float, spare_mm: float
) -> Floats | None:
    """Return the shift, (2,) mm, that brings a part furthest back along x, then along y.

    Parameters
    ----------
    before_mm
        None is looked for where the part would reach this far along x.
    spare_mm
        Clearance asked for beyond what is needed.
    """
    rows, columns = grid.values.shape
    length, width = (columns - 1) * grid.cell_mm, (rows - 1) * grid.cell_mm
    low, high = -probe.low, np.array([length, width]) - probe.high
    last = min(float(high[0]), before_mm - float(probe.high[0]))
    if last < low[0] or high[1] < low[1]:
        return None
    x, y = _first_place(
        grid.values,
        grid.cell_mm,
        probe.points_mm,
        probe.needs_mm,
        spare_mm,
        float(low[0]),
        last,
        float(low[1]),
        float(high[1]),
    )
    return None if math.isnan(x) else np.array([x, y])


def corner_places(
    grid: ClearanceGrid,
    probe: Probe,
    x_mm: Floats,
    y_mm: Floats,
    *,
    before_mm: float,
    spare_mm: float,
) -> Floats:
    """Return those of the shifts (x, y), (P, 2) mm, at which a part may lie, least x first.

    Meant for parts with straight sides that fit to a hair: between nodes the clearance next to a
    corner is told too small, so ``spare_mm`` may be below zero and what comes back is to be looked
    at again.
    """
    high = np.array([grid.values.shape[1] - 1, grid.values.shape[0] - 1]) * grid.cell_mm
    x = x_mm[(x_mm >= -probe.low[0]) & (x_mm <= min(high[0], before_mm) - probe.high[0])]
    y = y_mm[(y_mm >= -probe.low[1]) & (y_mm <= high[1] - probe.high[1])]
    return _corner_places(
        grid.values,
        grid.cell_mm,
        probe.points_mm,
        probe.needs_mm,
        spare_mm,
        np.sort(x),
        np.sort(y),
        _MOST_CORNERS,
    )


@compiled
def _missing_at(
    values: Singles, cell: float, points: Floats, needs: Floats, spare: float, x: float, y: float
) -> float:
    """Return by how much the first point that lacks clearance lacks it; 0 or less for none."""
    rows, columns = values.shape
    missing = 0.0
    for k in range(len(points)):
        u = (points[k, 0] + x) / cell
        v = (points[k, 1] + y) / cell
        i = min(max(int(u), 0), columns - 2)
        j = min(max(int(v), 0), rows - 2)
        fu, fv = u - i, v - j
        there = (1.0 - fv) * ((1.0 - fu) * values[j, i] + fu * values[j, i + 1]) + fv * (
            (1.0 - fu) * values[j + 1, i] + fu * values[j + 1, i + 1]
        )
        missing = needs[k] + spare - there
        if missing > 0.0:
            break
    return missing


@compiled
def _corner_places(
    values: Singles,
    cell: float,
    points: Floats,
    needs: Floats,
    spare: float,
    xs: Floats,
    ys: Floats,
    most: int,
) -> Floats:
    found = np.empty((most, 2))
    count = 0
    for x in xs:
        for y in ys:
            if count < most and _missing_at(values, cell, points, needs, spare, x, y) <= 0.0:
                found[count, 0] = x
                found[count, 1] = y
                count += 1
    return found[:count]


@compiled
def _first_place(
    values: Singles,
    cell: float,
    points: Floats,
    needs: Floats,
    spare: float,
    x0: float,
    x1: float,
    y0: float,
    y1: float,
) -> tuple[float, float]:
    x = x0
    while x <= x1:
        y = y0
        while y <= y1:
            missing = _missing_at(values, cell, points, needs, spare, x, y)
            if missing <= 0.0:
                return x, y
            # Clearance changes no faster than one moves; between nodes a little faster.
            y += max(0.3 * cell, 0.7 * missing)
        x += cell
    return math.nan, math.nan
