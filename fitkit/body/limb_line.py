"""A limb followed along its own middle, bends included."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitkit.body.taut_round import TautRound, taut_round
from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh

__all__ = ["LimbLine", "bend_mm", "limb_line"]

_STEP_MM = 8.0
_LOOK_BACK = 6
_MOST_STEPS = 400
# Neighbouring sections stray together; a limb's length holds about this many that do not.
_FREE_SECTIONS = 10.0


@dataclass(frozen=True, slots=True, eq=False)
class LimbLine:
    """Sections of a limb, each square to its own course there, from the body outward.

    Attributes
    ----------
    rounds
        The sections.
    directions
        (K, 3) float, unit: the limb's course at each.
    """

    rounds: tuple[TautRound, ...]
    directions: Floats

    @property
    def centres_mm(self) -> Floats:
        """(K, 3) float mm."""
        return np.array([one.centre_mm for one in self.rounds])

    @property
    def girths_mm(self) -> Floats:
        """(K,) float mm."""
        return np.array([one.girth_mm for one in self.rounds])

    @property
    def along_mm(self) -> Floats:
        """(K,) float mm: way along the middle from the first section."""
        steps = np.linalg.norm(np.diff(self.centres_mm, axis=0), axis=1)
        return np.concatenate([[0.0], np.cumsum(steps)])

    def at_mm(self, along_mm: float) -> tuple[Floats, Floats]:
        """Return the middle (3,) and the course (3,), unit, a way along."""
        ways = self.along_mm
        middle = np.array([np.interp(along_mm, ways, column) for column in self.centres_mm.T])
        course = np.array([np.interp(along_mm, ways, column) for column in self.directions.T])
        return middle, course / np.linalg.norm(course)


def limb_line(
    mesh: TriangleMesh,
    start_mm: Floats,
    direction: Floats,
    *,
    widest: float = 1.8,
    narrowest: float = 0.3,
) -> LimbLine:
    """Follow a limb from a point inside it until it ends or becomes something else.

    Parameters
    ----------
    start_mm, direction
        (3,) float each: where to begin and which way.
    widest, narrowest
        It ends where a section's girth passes these multiples of the least and of the median
        girth so far: a foot, a hand's tip.
    """
    rounds: list[TautRound] = []
    girths: list[float] = []
    directions: list[Floats] = []
    at = np.asarray(start_mm, dtype=np.float64)
    course = np.asarray(direction, dtype=np.float64)
    course = course / np.linalg.norm(course)
    for _ in range(_MOST_STEPS):
        one = taut_round(mesh, at, course)
        if one is None:
            break
        girth = one.girth_mm
        if np.linalg.norm(one.centre_mm - at) > girth / (2 * np.pi):
            break
        if girths and not narrowest * float(np.median(girths)) < girth < widest * min(girths):
            break
        rounds.append(one)
        girths.append(girth)
        directions.append(course)
        recent = np.array([found.centre_mm for found in rounds[-_LOOK_BACK:]])
        if len(recent) >= 4:
            fitted = np.linalg.svd(recent - recent.mean(axis=0))[2][0]
            fitted = fitted if fitted @ course > 0 else -fitted
            course = course + 0.5 * fitted
            course = course / np.linalg.norm(course)
        at = one.centre_mm + _STEP_MM * course
    return LimbLine(tuple(rounds), np.array(directions).reshape(-1, 3))


def bend_mm(
    line: LimbLine,
    begin_mm: float,
    end_mm: float,
    *,
    usual: float,
    spread: float,
    noise_mm: float = 1.0,
) -> tuple[float, float]:
    """Return where between two ways along a limb its middle bends, and how sure that is.

    The middle is taken for two straight bones. A straight limb does not show its joint; there
    what is usual on people decides, and in between both are weighed.

    Parameters
    ----------
    begin_mm, end_mm
        Ways along the limb between which the two bones lie.
    usual, spread
        Mean and standard deviation, on people, of the joint's place as a share of that way.
    noise_mm
        How far flesh draws the middle of the limb off the bone.

    Returns
    -------
    along_mm, confidence
        0.3 where only the usual place speaks, up to 0.9 where the bend does.
    """
    ways, centres = line.along_mm, line.centres_mm
    inside = (ways >= begin_mm) & (ways <= end_mm)
    ways, centres = ways[inside], centres[inside]
    length = end_mm - begin_mm
    tries = begin_mm + length * np.linspace(usual - 4 * spread, usual + 4 * spread, 81)
    by_shape = np.array([_misfit_mm2(ways, centres, joint) for joint in tries])
    by_shape *= _FREE_SECTIONS / noise_mm**2
    by_usual = (((tries - begin_mm) / length - usual) / spread) ** 2
    best = int(np.argmin(by_shape + by_usual))
    # How much the shape would object to the far ends of what is usual.
    voice = float(min(by_shape[:20].min(), by_shape[-20:].min()) - by_shape.min())
    return float(tries[best]), 0.3 + 0.6 * float(np.clip(voice / 10.0, 0.0, 1.0))


def _misfit_mm2(ways: Floats, centres: Floats, joint_mm: float) -> float:
    """Mean square distance of the middle from two straight lines that meet at a joint."""
    past = np.maximum(ways - joint_mm, 0.0)
    bones = np.column_stack([np.ones(len(ways)), ways, past])
    fit = bones @ np.linalg.lstsq(bones, centres, rcond=None)[0]
    return float(((centres - fit) ** 2).sum(axis=1).mean())
