"""Adding up blocks by their owner, as normal equations are gathered."""

from __future__ import annotations

import numpy as np

from fitkit.geometry.arrays import Floats, Ints

__all__ = ["summed_by_owner"]


def summed_by_owner(blocks: Floats, owner: Ints, count: int) -> Floats:
    """Return (count, ...) the sums of those of (N, ...) blocks that have the same owner (N,)."""
    flat = blocks.reshape(len(blocks), -1)
    sums = np.stack([np.bincount(owner, column, count) for column in flat.T], axis=1)
    return np.asarray(sums.reshape(count, *blocks.shape[1:]))
