"""What the wearer wants to do: single movements to a goal, and needs that take several at once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from fitkit.errors import DesignError
from fitkit.motion.movement import Movement

__all__ = ["NEEDS", "AskedRange", "asked_ranges"]

NEEDS: Mapping[str, Mapping[str, float]] = MappingProxyType(
    {
        "sit": {"hip bend": 90.0, "knee bend": 90.0, "spine bend forward": 10.0},
        "kneel": {"hip bend": 80.0, "knee bend": 110.0, "ankle point toes": 30.0},
        "arms overhead": {"shoulder lift forward": 165.0},
        "reach across": {"shoulder lift forward": 75.0, "shoulder reach across": 35.0,
                         "elbow bend": 40.0},
        "walk": {"hip bend": 35.0, "knee bend": 60.0},
        "look round": {"neck turn left": 60.0, "spine turn left": 20.0},
    }
)  # fmt: skip
"""Degrees from the anatomical zero by movement, without the side; common practice, no source."""


@dataclass(frozen=True, slots=True, eq=False)
class AskedRange:
    """One range to go through: from rest to where every movement has reached its goal, together.

    Attributes
    ----------
    name
        That of its movement, or of the need with the side: ``"sit"``, ``"reach across, left"``.
    movements
        With the angles from rest to the goal, radians, in the order in which they combine.
    because
        Where the goal comes from, in words.
    """

    name: str
    movements: tuple[tuple[Movement, float], ...]
    because: str

    @property
    def lead(self) -> Movement:
        """The movement that goes farthest, whose angle is told."""
        return max(self.movements, key=lambda row: row[1])[0]

    @property
    def turn_rad(self) -> float:
        """How far that one goes from rest."""
        return max(angle for _, angle in self.movements)

    def angle_rad(self, part: float) -> float:
        """Return its angle, from its anatomical zero, after a part of the way, 0 to 1."""
        return self.lead.at_rest_rad + part * self.turn_rad

    def turned(self, part: float) -> list[tuple[Movement, float]]:
        """Return every movement's angle from rest after a part of the way."""
        return [(movement, part * angle) for movement, angle in self.movements]


def asked_ranges(
    movements: Mapping[str, Movement],
    *,
    source: str = "AAOS",
    wanted_deg: Mapping[str, float] = MappingProxyType({}),
    needs: Sequence[str] = (),
    own_needs: Mapping[str, Mapping[str, float]] = MappingProxyType({}),
) -> tuple[AskedRange, ...]:
    """Return every range to sweep: each movement by itself, then the needs.

    A movement's goal is what the maker wants of it; failing that, the most that any of the needs
    takes; failing needs altogether, its norm. With needs, movements that none takes are not swept.

    Parameters
    ----------
    source
        Whose norms.
    wanted_deg
        Degrees from the anatomical zero by movement, with or without its side.
    needs
        Names of :data:`NEEDS` or of ``own_needs``, which go before.

    Raises
    ------
    DesignError
        When a movement or a need is not known.
    """
    known_needs = {**NEEDS, **own_needs}
    for need in needs:
        if need not in known_needs:
            raise DesignError(
                f"There is no need called '{need}'.", f"Use one of: {', '.join(known_needs)}."
            )
    sided = {name: _sides(name, movements) for name in wanted_deg}
    for name, found in sided.items():
        if not found:
            raise DesignError(
                f"This body has no movement called '{name}'.",
                f"Use one of: {', '.join(movements) or 'none, for it shows no joints'}.",
            )
    wanted = {own: wanted_deg[name] for name, found in sided.items() for own in found}
    taken: dict[str, float] = {}
    for need in needs:
        for name, degrees in known_needs[need].items():
            for own in _sides(name, movements):
                taken[own] = max(degrees, taken.get(own, degrees))
    ranges = []
    for name, movement in movements.items():
        if name in wanted:
            goal, because = float(np.radians(wanted[name])), "wanted"
        elif name in taken:
            goal = float(np.radians(taken[name]))
            because = f"for {_needing(name, needs, known_needs, movements)}"
        else:
            norm = movement.norm(source)
            if norm is None or needs:
                continue
            goal, because = norm[1], f"norm, {norm[0]}"
        turn = goal - movement.at_rest_rad
        if turn > 0:
            ranges.append(AskedRange(name, ((movement, turn),), because))
    for need in needs:
        ranges += _need_ranges(need, known_needs[need], movements)
    return tuple(ranges)


def _needing(
    name: str,
    needs: Sequence[str],
    known: Mapping[str, Mapping[str, float]],
    movements: Mapping[str, Movement],
) -> str:
    return ", ".join(
        need for need in needs if any(name in _sides(own, movements) for own in known[need])
    )


def _sides(name: str, movements: Mapping[str, Movement]) -> list[str]:
    """Return the movements that a name means: itself, or that of both sides."""
    spoken = " ".join(name.lower().split())
    return [own for own in (spoken, f"left {spoken}", f"right {spoken}") if own in movements]


def _need_ranges(
    need: str, takes: Mapping[str, float], movements: Mapping[str, Movement]
) -> list[AskedRange]:
    """Return a need's ranges: one for both sides, or one a side where an arm crosses over."""
    groups: dict[str, dict[str, float]] = {}
    crossing = any("reach across" in name for name in takes)
    for name, degrees in takes.items():
        for own in _sides(name, movements):
            side = own.split()[0] if crossing and own.split()[0] in ("left", "right") else ""
            groups.setdefault(side, {})[own] = degrees
    order = {name: k for k, name in enumerate(movements)}
    ranges = []
    for side, rows in groups.items():
        turns = [
            (movements[own], float(np.radians(degrees)) - movements[own].at_rest_rad)
            for own, degrees in sorted(rows.items(), key=lambda row: order[row[0]])
        ]
        turns = [row for row in turns if row[1] > 0]
        if len(turns) < 2:
            continue  # nothing to do, or the movement by itself shows it all
        name = f"{need}, {side}" if side else need
        ranges.append(AskedRange(name, tuple(turns), f"for {need}"))
    return ranges
