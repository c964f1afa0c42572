"""The heights at which chest, waist and hip are measured."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import gaussian_filter1d
from scipy.signal import find_peaks

from fitkit.body.body_levels import BodyLevels
from fitkit.body.taut_round import TautRound
from fitkit.geometry.arrays import Floats

__all__ = ["UNDER_ARMPIT_MM", "TrunkLevels", "find_trunk_levels"]

# A tape passes under the armpit with its own breadth, not in its very tip (common
# practice, no source).
UNDER_ARMPIT_MM = 15.0
_WAIST_DEPTH = 0.015
_PARABOLA_MM = 30.0
_CHEST_REACH_MM = 100.0
_ABOVE_ARMPIT_MM = 60.0
_EVEN_MM = 10.0
_STANDS_OUT_MM = 1.5


@dataclass(frozen=True, slots=True)
class TrunkLevels:
    """Heights above the floor in mm; None where the body has no such place.

    Attributes
    ----------
    chest_mm
        The level of the bust points, where the front of the chest stands out farthest, but not
        above the armpits. Where nothing stands out, the greatest level girth at or just below
        the armpits; on a bust without arms the level of greatest depth above the waist.
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


def find_trunk_levels(levels: BodyLevels) -> TrunkLevels:
    """Find chest, waist and hip on a body standing upright about x = 0.

    References
    ----------
    In the sense of ISO 8559-1:2017 and ISO 7250-1:2017 (from memory); those standards find
    the levels by touch (nipples, ribs, hip bones), here they are found by shape alone.
    """
    heights, girths = levels.heights_mm, levels.girths_mm
    armpits = [chain[0].centre_mm[2] for chain in levels.arms.values() if chain]
    below = (
        np.flatnonzero(heights <= min(armpits) - UNDER_ARMPIT_MM)
        if armpits
        else np.flatnonzero(heights < 0.5 * (heights[0] + heights[-1]) + 0.25 * np.ptp(heights))
    )
    if len(below) < 3:
        return TrunkLevels(None, None, None, 0.0)
    waist = _valley(girths[below])
    if waist is None:
        # A belly may be wider than the chest, which then must not be looked for that low.
        upper = below[heights[below] >= heights[below[0]] - _CHEST_REACH_MM]
        lower = below[:0]
    else:
        upper, lower = below[:waist], below[waist + 1 :]
    bust_mm = _bust_mm(levels, upper)
    chest = _widest(levels, upper) if armpits else _deepest(levels, upper)
    waist_at = None if waist is None else int(below[waist])
    hip_at = int(lower[np.argmax(girths[lower])]) if len(lower) else None

    ceiling = min(armpits) - UNDER_ARMPIT_MM if armpits else np.inf
    chest_mm, sure = float(heights[chest]), 0.7 if armpits else 0.5
    if bust_mm is not None:
        # A bust higher than the armpits are open: they may be filled, and the tape lies too low.
        open_arms = 0.9 if armpits else 0.7
        chest_mm, sure = (bust_mm, open_arms) if bust_mm <= ceiling else (float(ceiling), 0.6)
    elif armpits:
        # Where the trunk widens right up to the armpits, the tape lies as high as it can.
        chest_mm = ceiling if chest == below[0] else min(_settled(levels, chest), ceiling)
    return TrunkLevels(
        chest_mm,
        None if waist_at is None else _settled(levels, waist_at),
        None if hip_at is None else _settled(levels, hip_at),
        sure,
    )


def _bust_mm(levels: BodyLevels, among: np.ndarray) -> float | None:
    """Height at which the front of the chest stands out farthest; None where nothing does.

    Looked for up to a little above the armpits, which scans often fill. To stand out is to
    reach farther forward than what is above and below it, on both sides of the middle.
    """
    heights = levels.heights_mm
    zone = np.flatnonzero(
        (heights >= heights[among[-1]]) & (heights <= heights[among[0]] + _ABOVE_ARMPIT_MM)
    )
    if len(zone) < 5:
        return None
    reach = np.array([_breast_reach_mm(levels.trunk[k]) for k in zone.tolist()])
    step = float(np.median(-np.diff(heights[zone])))
    reach = gaussian_filter1d(reach, _EVEN_MM / step, mode="nearest")
    peaks, found = find_peaks(reach, prominence=_STANDS_OUT_MM)
    if len(peaks) == 0:
        return None
    best = int(peaks[np.argmax(found["prominences"])])
    around = slice(best - 1, best + 2)
    bend, slope, _ = np.polyfit(heights[zone][around] - heights[zone][best], reach[around], 2)
    return float(heights[zone][best] - (slope / (2 * bend) if bend < 0 else 0.0))


def _breast_reach_mm(one: TautRound) -> float:
    """How far forward a level reaches beside its middle, the lesser of both sides."""
    points = one.path.points_mm
    across = points[:, 0] / max(float(one.high_mm[0]), -float(one.low_mm[0]))
    sides = [points[(side * across > 0.12) & (side * across < 0.85)] for side in (1.0, -1.0)]
    return float(min(-side[:, 1].min() if len(side) else 0.0 for side in sides))


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


def _settled(levels: BodyLevels, index: int) -> float:
    """Height of the extreme girth, from a parabola through the levels about it.

    A single level's girth carries the roughness of a scan; thirty millimetres' worth of them
    say better where the narrowest or widest place is.
    """
    height = float(levels.heights_mm[index])
    about = np.abs(levels.heights_mm - height) <= _PARABOLA_MM
    offsets = levels.heights_mm[about] - height
    if len(offsets) < 5 or min(-offsets.min(), offsets.max()) < 0.5 * _PARABOLA_MM:
        return height
    bend, slope, _ = np.polyfit(offsets, levels.girths_mm[about], 2)
    others = levels.girths_mm[about].mean()
    if bend == 0 or (bend > 0) != (levels.girths_mm[index] < others):
        return height
    shift = -slope / (2 * bend)
    return height + float(shift) if abs(shift) <= 0.5 * _PARABOLA_MM else height
