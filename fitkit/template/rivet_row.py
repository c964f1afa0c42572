"""Rivets spread evenly along a seam."""

from __future__ import annotations

import math

import numpy as np

from fitkit.geometry.arrays import Floats

__all__ = ["spread_rivets_mm"]


def spread_rivets_mm(length_mm: float, *, ends_mm: float, pitch_mm: float) -> Floats:
    """Return where rivets stand along a seam, (N,) mm from its start.

    The first and last stand ``ends_mm`` from the ends, the others evenly between, no further apart
    than ``pitch_mm``. A seam too short for two gets one amid.

    Examples
    --------
    >>> spread_rivets_mm(100.0, ends_mm=8.0, pitch_mm=16.0).round(1).tolist()
    [8.0, 22.0, 36.0, 50.0, 64.0, 78.0, 92.0]
    """
    room = length_mm - 2.0 * ends_mm
    if room <= 0.5 * pitch_mm:
        return np.array([0.5 * length_mm])
    gaps = max(1, math.ceil(room / pitch_mm - 1e-9))
    return np.asarray(ends_mm + np.arange(gaps + 1) * (room / gaps), dtype=np.float64)
