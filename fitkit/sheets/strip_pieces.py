"""The pieces of a strip as compiled loops need them: outlines in their turns, and depth tables."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from fitkit.geometry.arrays import Floats, Ints
from fitkit.sheets.clearance_grid import Singles

__all__ = ["StripPieces"]


class StripPieces(NamedTuple):
    """What does not change while pieces move; arrays for compiled loops.

    Attributes
    ----------
    table, way, frame, values, rims, near, near_first, gap
        As in :class:`fitkit.sheets.depth_tables.DepthTables`.
    first_turn, turns
        (N,) int: per piece its first outline in the tables, and how many there are.
    boxes
        (O, 4) float: each turned outline's box about its own origin, least and most x and y.
    narrow
        (N,) float: the narrow side of each piece's box.
    share
        (N, N) float: how much a pair's depth counts.
    """

    table: Ints
    way: Floats
    frame: Floats
    values: Singles
    rims: Floats
    near: NDArray[np.int32]
    near_first: NDArray[np.int32]
    gap: float
    first_turn: Ints
    turns: Ints
    boxes: Floats
    narrow: Floats
    share: Floats
