"""Triangles that one segment crosses from edge to edge: split all at once.

Of the triangles that lines pass through nearly all are of this kind, and need none of the care
that meeting lines do.
"""

from __future__ import annotations

import numpy as np

from fitkit.geometry.arrays import Bools, Floats, Ints

__all__ = ["may_be_split_at_once", "split_at_once"]

# Flatter triangles than this, height to length, are left to the careful way.
_FLAT = 1e-6


def may_be_split_at_once(
    corners_mm: Floats, first_mm: Floats, second_mm: Floats, limit_mm: float
) -> Bools:
    """Tell which triangles have a fair shape and corners clear of the segment that crosses them.

    Parameters
    ----------
    corners_mm
        (N, 3, 3) float mm.
    first_mm, second_mm
        (N, 3) float mm: ends of the segments, on two edges of each triangle.
    limit_mm
        How near a corner may come to its segment.
    """
    ways = np.roll(corners_mm, -1, axis=1) - corners_mm
    area = np.linalg.norm(np.cross(ways[:, 0], ways[:, 1]), axis=1)
    longest = np.einsum("nki,nki->nk", ways, ways).max(axis=1)
    along = second_mm - first_mm
    length = np.linalg.norm(along, axis=1)
    shift = corners_mm - first_mm[:, None]
    share = np.einsum("nki,ni->nk", shift, along) / np.maximum(length**2, 1e-300)[:, None]
    off = shift - np.clip(share, 0.0, 1.0)[..., None] * along[:, None]
    clear = np.linalg.norm(off, axis=2).min(axis=1) > limit_mm
    fair: Bools = (area > _FLAT * longest) & (length > 0) & clear
    return fair


def split_at_once(points_mm: Floats, corners: Ints, first: Ints, second: Ints, apex: Ints) -> Ints:
    """Split triangles in three round the segments that cross them.

    Parameters
    ----------
    points_mm
        (P, 3) float mm: where all points are.
    corners
        (N, 3) int: points at the corners.
    first, second
        (N,) int: points at the ends of each segment, the first on the edge that leaves the
        corner common to both edges, the second on the edge that comes to it.
    apex
        (N,) int: which of the corners that is, 0 to 2.

    Returns
    -------
    triangles
        (N, 3, 3) int, turning as the triangles do; of the two ways to split the four-sided
        part the one with the larger smallest angles (Delaunay).
    """
    rows = np.arange(len(corners))
    a, b, c = (corners[rows, (apex + k) % 3] for k in range(3))
    at_b = _cotangent(points_mm, b, first, c)
    at_q = _cotangent(points_mm, second, c, first)
    straight = at_b + at_q >= 0
    tip = np.column_stack([a, first, second])
    one = np.column_stack([first, b, np.where(straight, c, second)])
    two = np.column_stack([np.where(straight, first, b), c, second])
    triangles: Ints = np.stack([tip, one, two], axis=1)
    return triangles


def _cotangent(points_mm: Floats, at: Ints, one: Ints, other: Ints) -> Floats:
    u, v = points_mm[one] - points_mm[at], points_mm[other] - points_mm[at]
    sine = np.maximum(np.linalg.norm(np.cross(u, v), axis=1), 1e-300)
    cotangent: Floats = np.einsum("ni,ni->n", u, v) / sine
    return cotangent
