"""The heights at which chest, waist and hip are measured."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitkit.body.body_levels import BodyLevels, trunk_round
from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh

__all__ = ["TrunkLevels", "find_trunk_levels"]

# A tape passes under the armpit with its own breadth, not in its very tip (common
# practice, no source).
_UNDER_ARMPIT_MM = 15.0
_WAIST_DEPTH = 0.015


@dataclass(frozen=True, slots=True)
class TrunkLevels:
    """Heights above the floor in mm; None where the body has no such place.

    Attributes
    ----------
    chest_mm
        The greatest level girth of the trunk at or just below the armpits; on a bust without
        arms the level of greatest depth above the waist.
    waist_mm
        The natural waist: the narrowest level between chest and hip.
    hip_mm
        The greatest level girth below the waist.
    chest_confidence
        0 to 1.
    """

    chest_mm: float | None
    waist_mm: float | None
    hip_mm: float | None
    chest_confidence: float


def find_trunk_levels(mesh: TriangleMesh, levels: BodyLevels) -> TrunkLevels:
    """Find chest, waist and hip on a body standing upright about x = 0.

    References
    ----------
    In the sense of ISO 8559-1:2017 and ISO 7250-1:2017 (from memory); those standards find
    the levels by touch (nipples, ribs, hip bones), here they are found by girth alone.
    """
    heights, girths = levels.heights_mm, levels.girths_mm
    armpits = [chain[0].centre_mm[2] for chain in levels.arms.values() if chain]
    below = (
        np.flatnonzero(heights <= min(armpits) - _UNDER_ARMPIT_MM)
        if armpits
        else np.flatnonzero(heights < 0.5 * (heights[0] + heights[-1]) + 0.25 * np.ptp(heights))
    )
    if len(below) < 3:
        return TrunkLevels(None, None, None, 0.0)
    waist = _valley(girths[below])
    if waist is None:
        upper = below if armpits else below[: max(3, len(below) // 2)]
        lower = below[:0]
    else:
        upper, lower = below[:waist], below[waist + 1 :]
    chest = _widest(levels, upper) if armpits else _deepest(levels, upper)
    # On a bust the waist is looked for below the chest just found, not below a guess of it.
    waist_at = None if waist is None else int(below[waist])
    hip_at = int(lower[np.argmax(girths[lower])]) if len(lower) else None

    def refined(index: int | None, sign: float) -> float | None:
        return None if index is None else _refined(mesh, float(heights[index]), sign)

    ceiling = min(armpits) - _UNDER_ARMPIT_MM if armpits else np.inf
    chest_mm = refined(chest, 1.0) if armpits else float(heights[chest])
    return TrunkLevels(
        None if chest_mm is None else min(chest_mm, ceiling),
        refined(waist_at, -1.0),
        refined(hip_at, 1.0),
        0.9 if armpits else 0.5,
    )


def _widest(levels: BodyLevels, among: np.ndarray) -> int:
    return int(among[np.argmax(levels.girths_mm[among])])


def _deepest(levels: BodyLevels, among: np.ndarray) -> int:
    depth = [levels.trunk[k].high_mm[1] - levels.trunk[k].low_mm[1] for k in among.tolist()]
    return int(among[int(np.argmax(depth))])


def _valley(girths: Floats) -> int | None:
    """Index of the deepest valley: the place lowest below both what is above and below it."""
    above = np.maximum.accumulate(girths)
    below = np.maximum.accumulate(girths[::-1])[::-1]
    depth = np.minimum(above, below) - girths
    best = int(np.argmax(depth))
    return best if depth[best] > _WAIST_DEPTH * girths[best] else None


def _refined(mesh: TriangleMesh, height_mm: float, sign: float) -> float:
    """Settle a level of greatest (+1) or least (-1) girth to about a millimetre."""
    best, best_girth = height_mm, -np.inf
    for trial in height_mm + np.arange(-5.0, 5.5, 1.0):
        one = trunk_round(mesh, float(trial))
        if one is not None and sign * one.girth_mm > best_girth:
            best, best_girth = float(trial), sign * one.girth_mm
    return best
