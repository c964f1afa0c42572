"""Finding the triangles that a line passes through, segment by segment."""

from __future__ import annotations

import numpy as np

from fitkit.geometry.arrays import Floats, Ints
from fitkit.geometry.compiled import compiled

__all__ = ["faces_along"]


@compiled
def _off_triangle(p: Floats, a: Floats, b: Floats, c: Floats) -> float:
    """Distance of a point from a triangle, mm."""
    inside = True
    nearest = np.inf
    u0, u1, u2 = b[0] - a[0], b[1] - a[1], b[2] - a[2]
    v0, v1, v2 = c[0] - a[0], c[1] - a[1], c[2] - a[2]
    n0, n1, n2 = u1 * v2 - u2 * v1, u2 * v0 - u0 * v2, u0 * v1 - u1 * v0
    square = n0 * n0 + n1 * n1 + n2 * n2
    for side in range(3):
        s = a if side == 0 else (b if side == 1 else c)
        e = b if side == 0 else (c if side == 1 else a)
        w0, w1, w2 = e[0] - s[0], e[1] - s[1], e[2] - s[2]
        d0, d1, d2 = p[0] - s[0], p[1] - s[1], p[2] - s[2]
        turn = (w1 * d2 - w2 * d1) * n0 + (w2 * d0 - w0 * d2) * n1 + (w0 * d1 - w1 * d0) * n2
        if turn < 0.0:
            inside = False
        length = max(w0 * w0 + w1 * w1 + w2 * w2, 1e-300)
        share = min(max((d0 * w0 + d1 * w1 + d2 * w2) / length, 0.0), 1.0)
        r0, r1, r2 = d0 - share * w0, d1 - share * w1, d2 - share * w2
        nearest = min(nearest, np.sqrt(r0 * r0 + r1 * r1 + r2 * r2))
    if inside and square > 0.0:
        height = (p[0] - a[0]) * n0 + (p[1] - a[1]) * n1 + (p[2] - a[2]) * n2
        return float(abs(height) / np.sqrt(square))
    return float(nearest)


@compiled
def faces_along(
    points_mm: Floats,
    start: int,
    vertices_mm: Floats,
    faces: Ints,
    fan_faces: Ints,
    fan_start: Ints,
) -> tuple[Ints, Floats]:
    """Return the triangle in which each segment of a line lies, and how far it is off it.

    Each is sought among the triangles round the corners of the one before.

    Parameters
    ----------
    points_mm
        (N, 3) float mm: the line's points; it starts at the vertex ``start``.
    fan_faces, fan_start
        Triangles round vertex v: ``fan_faces[fan_start[v] : fan_start[v + 1]]``.

    Returns
    -------
    chosen
        (N - 1,) int.
    off_mm
        (N - 1,) float mm: the greater of the distances of the segment's two ends.
    """
    count = len(points_mm) - 1
    chosen = np.empty(count, dtype=np.int64)
    off_mm = np.empty(count)
    one = two = three = start
    for i in range(count):
        best, best_off = -1, np.inf
        for corner in (one, two, three):
            for k in range(fan_start[corner], fan_start[corner + 1]):
                f = fan_faces[k]
                a, b, c = (
                    vertices_mm[faces[f, 0]],
                    vertices_mm[faces[f, 1]],
                    vertices_mm[faces[f, 2]],
                )
                off = max(
                    _off_triangle(points_mm[i], a, b, c), _off_triangle(points_mm[i + 1], a, b, c)
                )
                if off < best_off or (off == best_off and f < best):
                    best, best_off = f, off
        chosen[i], off_mm[i] = best, best_off
        one, two, three = faces[best, 0], faces[best, 1], faces[best, 2]
    return chosen, off_mm
