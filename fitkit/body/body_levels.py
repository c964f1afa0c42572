"""The level sections of a body, sorted into trunk and what hangs beside it."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from fitkit.body.side import Side
from fitkit.body.taut_round import TautRound, taut_rounds
from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh

__all__ = ["BodyLevels", "body_levels", "trunk_round"]

_UP = np.array([0.0, 0.0, 1.0])
_STEP_MM = 5.0
_SMALLEST_LEG_MM2 = 3000.0


@dataclass(frozen=True, slots=True, eq=False)
class BodyLevels:
    """Level sections from the top down.

    Attributes
    ----------
    trunk
        Per level, the round that the symmetry plane x = 0 passes through; from the top of the
        body (head or neck) down to the crotch or to where the body ends.
    arms
        Per side the rounds of the arm, from the armpit down; empty where no arm stands clear
        of the trunk.
    legs
        Per side the rounds of the leg, from the crotch down; empty where the body ends above it.
    """

    trunk: tuple[TautRound, ...]
    arms: dict[Side, tuple[TautRound, ...]]
    legs: dict[Side, tuple[TautRound, ...]] = field(default_factory=dict)

    def moved(self, shift_mm: Floats) -> BodyLevels:
        """Return the levels of the mesh shifted by ``shift_mm`` (3,)."""
        return BodyLevels(
            tuple(one.moved(shift_mm) for one in self.trunk),
            {side: tuple(one.moved(shift_mm) for one in arm) for side, arm in self.arms.items()},
            {side: tuple(one.moved(shift_mm) for one in leg) for side, leg in self.legs.items()},
        )

    @property
    def heights_mm(self) -> Floats:
        """(L,) float mm: the levels of the trunk, from the top down."""
        return np.array([one.centre_mm[2] for one in self.trunk])

    @property
    def girths_mm(self) -> Floats:
        """(L,) float mm: the trunk's taut girth at each level."""
        return np.array([one.girth_mm for one in self.trunk])


def body_levels(mesh: TriangleMesh) -> BodyLevels:
    """Cut a body that stands upright with x = 0 its symmetry plane into level sections."""
    low, high = mesh.bounds_mm()[:, 2]
    count = max(2, int((high - low) / _STEP_MM))
    heights = np.linspace(high, low, count + 1)
    heights = 0.5 * (heights[1:] + heights[:-1])
    trunk: list[TautRound] = []
    beside: list[list[TautRound]] = []
    parted = False
    for height in heights:
        rounds = taut_rounds(mesh, np.array([0.0, 0.0, height]), _UP)
        middle = None if parted else _trunk_of(rounds)
        if middle is not None:
            trunk.append(middle)
            beside.append([one for one in rounds if one is not middle])
        elif trunk:
            # Below the crotch; arms that reach lower hang beside the legs.
            parted = True
            beside.append(list(rounds))
    return BodyLevels(
        tuple(trunk),
        {side: _arm(beside, len(trunk), side) for side in (Side.LEFT, Side.RIGHT)},
        {side: _leg(beside[len(trunk) :], side) for side in (Side.LEFT, Side.RIGHT)},
    )


def trunk_round(mesh: TriangleMesh, height_mm: float) -> TautRound | None:
    """Return the trunk's round at a level, None where the symmetry plane meets nothing there."""
    return _trunk_of(taut_rounds(mesh, np.array([0.0, 0.0, height_mm]), _UP))


def _trunk_of(rounds: tuple[TautRound, ...]) -> TautRound | None:
    across = [one for one in rounds if one.low_mm[0] < 0 < one.high_mm[0]]
    return across[0] if across else None


def _arm(beside: list[list[TautRound]], trunk_levels: int, side: Side) -> tuple[TautRound, ...]:
    """Follow the outermost round of a side downward from where it first stands clear.

    It begins beside the trunk; what first shows below the crotch is a leg. Of several runs, as
    where a raised shoulder stands clear above the armpit too, the longest is the arm.
    """
    sign = 1.0 if side is Side.LEFT else -1.0
    chain: list[TautRound] = []
    longest: list[TautRound] = []
    for level, rounds in enumerate(beside):
        own = [one for one in rounds if sign * one.centre_mm[0] > 0]
        if chain:
            last = chain[-1]
            own = [one for one in own if _overlap(one, last)]
            if not own:
                longest = max(longest, chain, key=len)
                chain = []
                continue
        elif not own or level >= trunk_levels:
            continue
        chain.append(max(own, key=lambda one: sign * one.centre_mm[0]))
    chain = max(longest, chain, key=len)
    return tuple(chain) if len(chain) > 6 else ()


def _leg(below: list[list[TautRound]], side: Side) -> tuple[TautRound, ...]:
    """Follow the innermost round of a side downward from where the legs part."""
    sign = 1.0 if side is Side.LEFT else -1.0
    chain: list[TautRound] = []
    for rounds in below:
        own = [one for one in rounds if sign * one.centre_mm[0] > 0]
        own = [
            one
            for one in own
            if (_overlap(one, chain[-1]) if chain else one.area_mm2 > _SMALLEST_LEG_MM2)
        ]
        if not own:
            break
        chain.append(min(own, key=lambda one: sign * one.centre_mm[0]))
    return tuple(chain) if len(chain) > 6 else ()


def _overlap(first: TautRound, second: TautRound) -> bool:
    return bool(
        (first.low_mm[:2] < second.high_mm[:2]).all()
        and (second.low_mm[:2] < first.high_mm[:2]).all()
    )
