"""Where one outline may not be put because it would overlap another."""

from __future__ import annotations

import numpy as np
import shapely

from fitkit.geometry.arrays import Floats

__all__ = ["convex_pieces", "no_fit_polygon"]

# Shares of an outline's area: what still counts as convex, and gaps that rounding leaves.
_CONVEX = 1e-9
_GAP = 1e-7


def convex_pieces(outline: Floats) -> list[Floats]:
    """Return convex outlines, (K, 2) float each, that together are the outline, (N, 2) float."""
    whole = shapely.Polygon(outline)
    pieces = list(shapely.get_parts(shapely.constrained_delaunay_triangles(whole)))
    merged = True
    while merged:
        merged = False
        for i, one in enumerate(pieces):
            for j in range(i + 1, len(pieces)):
                both = shapely.union(one, pieces[j])
                hull = shapely.convex_hull(both)
                if hull.area - one.area - pieces[j].area <= _CONVEX * whole.area:
                    pieces[i] = hull
                    del pieces[j]
                    merged = True
                    break
            if merged:
                break
    return [shapely.get_coordinates(piece.exterior)[:-1] for piece in pieces]


def no_fit_polygon(fixed: list[Floats], moving: list[Floats]) -> shapely.Geometry:
    """Return the shifts of the moving outline that make it overlap the fixed one.

    Both are given as their convex pieces; the area is the Minkowski sum of the fixed outline and
    the moving one turned inside out, the union of the pieces' sums (each the hull of its corners').
    Shifts on its rim make the two touch. Rings run with the area on their left.
    """
    sums = [
        shapely.MultiPoint((one[:, None, :] - other[None, :, :]).reshape(-1, 2))
        for one in fixed
        for other in moving
    ]
    area = shapely.union_all(shapely.convex_hull(sums))
    least = _GAP * float(area.area)
    whole = []
    for polygon in shapely.get_parts(area):
        holes = [ring for ring in polygon.interiors if shapely.Polygon(ring).area > least]
        whole.append(shapely.Polygon(polygon.exterior, holes))
    span = float(np.ptp(np.reshape(area.bounds, (2, 2)), axis=0).max())
    simple = shapely.simplify(shapely.union_all(whole), 1e-9 * span)
    turned: shapely.Geometry = shapely.orient_polygons(simple)
    return turned
