"""A line made longer at both ends, straight on."""

from __future__ import annotations

import numpy as np

from fitkit.geometry.arrays import Floats

__all__ = ["run_on"]


def run_on(line: Floats, by_mm: float) -> Floats:
    """(N, 3) float mm: a line whose ends lie so much farther out."""

    def on(end: Floats, before: Floats) -> Floats:
        way = end - before
        further: Floats = end + by_mm * way / np.linalg.norm(way)
        return further

    return np.vstack([on(line[0], line[1]), line[1:-1], on(line[-1], line[-2])])
