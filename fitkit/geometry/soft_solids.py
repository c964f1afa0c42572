"""Plain solids as fields, about a distance in mm and negative inside, and soft joints of them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.interpolate import PchipInterpolator

from fitkit.geometry.arrays import Floats

__all__ = ["cut", "ellipsoid", "joined", "mound", "round_limb"]


def mound(u: Floats, below: float, above: float) -> Floats:
    """Gaussian with different widths below and above 0."""
    mound: Floats = np.exp(-0.5 * (u / np.where(u < 0, below, above)) ** 2)
    return mound


def ellipsoid(
    p: Floats, centre: tuple[float, float, float], half: tuple[float, float, float]
) -> Floats:
    """Return about the distance (...) of points (..., 3) to an ellipsoid along the axes."""
    q = (p - np.array(centre)) / np.array(half)
    gauge = np.linalg.norm(q, axis=-1)
    steep = np.linalg.norm(q / np.array(half), axis=-1)
    # First order in the distance, so that soft joints are as wide as they say.
    near: Floats = gauge * (gauge - 1.0) / np.maximum(steep, 1e-9)
    return np.maximum(near, -min(half))


def round_limb(
    p: Floats, start: Floats, end: Floats, radii: Sequence[tuple[float, float]]
) -> Floats:
    """Return about the distance to a limb of round sections: (share of the way, radius)."""
    along = end - start
    share = np.clip((p - start) @ along / (along @ along), 0.0, 1.0)
    places, sizes = np.array(radii).T
    gap: Floats = np.linalg.norm(p - start - share[..., np.newaxis] * along, axis=-1)
    field: Floats = gap - PchipInterpolator(places, sizes)(share)
    return field


def joined(a: Floats, b: Floats, soft_mm: float) -> Floats:
    """Return the field of both solids, rounded out where their surfaces meet."""
    share = np.clip(0.5 + 0.5 * (b - a) / soft_mm, 0.0, 1.0)
    joined: Floats = b + (a - b) * share - soft_mm * share * (1 - share)
    return joined


def cut(a: Floats, b: Floats, soft_mm: float) -> Floats:
    """Return the field of what lies in both solids, rounded off where their surfaces meet."""
    return -joined(-a, -b, soft_mm)
