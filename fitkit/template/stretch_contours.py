"""Lines of equal stretch on a blank."""

from __future__ import annotations

import numpy as np
import shapely

from fitkit.flatten.flat_patch import FlatPatch
from fitkit.flatten.stretch import area_strain, at_flat_vertices, strain_contour_levels
from fitkit.geometry.arrays import Floats
from fitkit.template.part import NamedLine

__all__ = ["stretch_contours"]


def stretch_contours(flat: FlatPatch) -> tuple[NamedLine, ...]:
    """Return lines along which the sheet's area grows or shrinks alike, named ``"+2 %"``.

    They are read off the growth of area between blank and plate, as the strain picture shows it.
    """
    growth = 100.0 * at_flat_vertices(area_strain(flat.stretch), flat.flat_mm, flat.faces)
    lines = []
    for level in strain_contour_levels(float(growth.min()), float(growth.max())):
        name = f"{level:+g} %".replace("-", "−")
        lines += [
            NamedLine(name, points)
            for points in _level_lines(flat.flat_mm, flat.faces, growth, level)
        ]
    return tuple(lines)


def _level_lines(points: Floats, faces: np.ndarray, values: Floats, level: float) -> list[Floats]:
    """Return where a field, linear in each triangle, has a value: polylines, (N, 2) each."""
    # A corner that has the very value is taken as above it.
    above = values[faces] >= level
    crossed = faces[above.any(axis=1) & ~above.all(axis=1)]
    pieces = []
    for a, b in ((0, 1), (1, 2), (2, 0)):
        i, j = crossed[:, a], crossed[:, b]
        cuts = (values[i] >= level) != (values[j] >= level)
        # The same end first in both triangles of an edge, so that the pieces meet to the last bit.
        low, high = np.minimum(i, j), np.maximum(i, j)
        step = values[high] - values[low]
        share = (level - values[low]) / np.where(step == 0.0, 1.0, step)
        at = points[low] + share[:, None] * (points[high] - points[low])
        pieces.append(np.where(cuts[:, None], at, np.nan))
    ends = np.stack(pieces, axis=1)
    segments = [row[~np.isnan(row[:, 0])] for row in ends]
    merged = shapely.line_merge(shapely.multilinestrings([s for s in segments if len(s) == 2]))
    return [shapely.get_coordinates(line) for line in shapely.get_parts(merged)]
