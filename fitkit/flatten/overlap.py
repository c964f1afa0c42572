"""Whether a flat piece lies over itself, which no strain figure shows."""

from __future__ import annotations

import numpy as np
import shapely

from fitkit.geometry.arrays import Floats, Ints

__all__ = ["overlap_area_mm2"]


def overlap_area_mm2(flat_mm: Floats, faces: Ints, outline_mm: Floats) -> float:
    """Return the area of the flat that is covered more than once.

    Parameters
    ----------
    flat_mm, faces
        (V, 2) float mm and (F, 3) int, every face counter-clockwise.
    outline_mm
        (N, 2) float mm: the border once round.

    Notes
    -----
    A flat disk without flipped faces overlaps itself only where its border crosses itself, so the
    border is tested first and the areas are added up only when it does.
    """
    if shapely.is_valid(shapely.polygons(outline_mm)):
        return 0.0
    triangles = shapely.polygons(flat_mm[faces])
    covered = float(shapely.area(shapely.union_all(triangles)))
    return max(0.0, float(np.sum(shapely.area(triangles))) - covered)
